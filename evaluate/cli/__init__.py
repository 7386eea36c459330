"""The command line: one file a verb, and what they share.

Begin with `main.main`.
"""
