"""What is on a dial, and where each stroke of it lies.

Begin with `design.sample_design` and `layout.lay_out`.
"""
