"""Two dials laid on each other: does one plate fit both?

Begin with `compare.compare_photos`.
"""
