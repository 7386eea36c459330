"""Dials face on, with what every pixel of them shows: of drawn enamel, of other makes, of other designs.

Begin with `subject.draw_subject`.
"""
