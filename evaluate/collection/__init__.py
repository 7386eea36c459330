"""Many dials in one file.

Begin with `file.CollectionFile` and `add.add_photos`.
"""
