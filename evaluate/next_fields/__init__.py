"""What to photograph next, where a dial is not settled: the places that would most likely settle it, and why.

Begin with `choice.next_fields`.
"""
