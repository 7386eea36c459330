"""Sets of drawn dials on disk, and pages of them (`dialtell draw`).

Begin with `dial_set.DialSet` and `manifest.draw_picture`.
"""
