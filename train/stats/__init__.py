"""Figures with intervals: AUC, shares, likelihood ratios, calibration, clusters.

Begin with `discrimination.auc` and `clustered.clustered_auc`.
"""
