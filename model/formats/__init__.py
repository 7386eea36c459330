"""What files of photographs are made of: containers, colour profiles, and what cannot be read.

Begin with `colour.colour_of` and `heif.opened_heic`.
"""
