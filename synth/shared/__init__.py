"""What every part stands on: the trade's words, sizes, the user's errors, whole files, tables, worker processes.

Begin with `terms` and `errors`.
"""
