"""Labelling by eye in the browser, and agreement of labellers.

Begin with `server.LabelServer` and `store.LabelStore`.
"""
