"""The training of the reader: the net that sees where a dial lies and what every pixel of it shows.

Begin with `loop.ReaderTrainer`.
"""
