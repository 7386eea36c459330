"""Date and style, apart from the strokes.

Begin with `date_check.check_period` and `style_hints.style_hints`.
"""
