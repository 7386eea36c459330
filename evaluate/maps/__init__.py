"""Where on a dial its call comes from.

Begin with `place_map.Judge` and `attribution.attribute`.
"""
