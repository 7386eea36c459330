"""Calls against labels of real photographs.

Begin with `benchmark.benchmark`.
"""
