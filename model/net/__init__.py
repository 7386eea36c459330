"""From patches to a call: the net, its weights, calibration, verdict.

Begin with `verdict.judge` and `weights_file.load_weights`.
"""
