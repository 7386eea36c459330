"""Labelling by eye in the browser, and agreement of labellers.

Begin with `app.Labelling` and `store.LabelStore`.
"""
