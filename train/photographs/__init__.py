"""A user's own labelled photographs: the labels table, and adapting to it (`train --photos`).

Begin with `labels.read_labels` and `adapt_run.adapt_to_photographs`.
"""
