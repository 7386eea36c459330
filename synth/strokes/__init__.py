"""Strokes, and the ways they are laid: by hand, by transfer, photographically.

Begin with `hand.paint_by_hand` and `plate.cut`.
"""
