"""Templates, styles and scripts of all pages, and what fills them.

Begin with `templates.filled`.
"""
