"""Where on a dial its call comes from.

Begin with `place_map.maps_of`; `painting` lays a map over the photograph.
"""
