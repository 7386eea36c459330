"""A photograph's call: record, sentences, table, stream of rows.

Begin with `score.score_photo` and `stream.stream_calls`.
"""
