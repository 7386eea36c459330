"""How fast everything is on this machine: every figure beside a yardstick timed in the same run.

Begin with `measuring.measure` and `row.SpeedRow`.
"""
