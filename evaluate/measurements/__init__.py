"""What can be measured on the strokes of a dial, one module a kind of measurement, and the opinion made of it.

Begin with `gathering.measure_reading` and `evidence.gather_evidence`.
"""
