"""Calls against truth as plots, all in one style.

Begin with `curves.draw_reliability`.
"""
