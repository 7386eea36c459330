"""From a photograph to patches: outline, density, sharpness, rotation, zones.

Begin with `steps.read_dial` and `photo.read_photo`.
"""
