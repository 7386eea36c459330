"""The page and the still of a photograph.

Begin with `photos.inspect_one`.
"""
