"""Several nets beside each other on the same pictures.

Begin with `study.main` and `side_by_side.Study`.
"""
