"""Dials examined in the browser: photographs dropped, outlines dragged, an own opinion noted, all kept in one file.

Begin with `app.examination`, `record.ExaminedDials`.
"""
