"""Letterforms as skeletons with weights: Roman and Arabic figures, capitals, script and italic letters."""
