"""From the light that reaches the lens to the file: optics, capture, development, finishing, codecs, reproduction.

Begin with `camera.expose`; what real photographs go through besides is drawn by `camera.finished`.
"""
