"""One dial, several photographs: close-ups laid on the whole view, one bag, one opinion.

Begin with `dial.score_dial`, `placing.place_field`.
"""
