"""Drawn dials as bags of patches, and where they are kept.

Begin with `bags.bag_of` and `supply.Supply`.
"""
