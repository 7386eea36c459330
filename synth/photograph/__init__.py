"""Everything before the lens that is not a stroke: view, enamel, furniture, wear, watch hands, relief, light.

Begin with `body.paint_body`.
"""
