"""The page and the still of a photograph.

Begin with `one_photo.inspect_photo`.
"""
