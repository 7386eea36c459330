"""Rungs of drawn dials of rising difficulty.

Begin with `ladder.run_ladder` and `rungs.rungs_named`.
"""
