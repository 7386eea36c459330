"""Everything in a picture that is not a stroke: view, enamel, wear, hands, light, camera.

Begin with `camera.expose`.
"""
