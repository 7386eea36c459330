"""What a page is made of, made up: a dial with its zones, a photograph, a model."""

from __future__ import annotations

import math
import re

import numpy as np

MODEL = {
    "name": "net",
    "version": "0.1",
    "sha256": "ab" * 32,
    "renderer_version": 4,
}


def ring(radius):
    return [[200 + radius * math.sin(a), 150 - radius * math.cos(a)] for a in np.linspace(0, 2 * math.pi, 40)]


def zone(name, judged=True, ratio=0.5, reason="Seen.", polygon=()):
    call = "undetermined" if not judged else "hand-painted" if ratio > 0 else "printed"
    return {
        "zone": name,
        "judged": judged,
        "call": call,
        "probability_hand": 0.76 if judged else None,
        "log10_lr": ratio if judged else None,
        "reason": reason,
        "polygon_px": list(polygon),
    }


def sample(name="watch.jpg", **changes):
    dial = {
        "photo": name,
        "call": "hand-painted",
        "probability_hand": 0.95,
        "log10_lr": 1.28,
        "support": "at least moderate support for hand painting",
        "reason": "Thin strokes are fainter than thick ones.",
        "geometry": {
            "center_px": [200, 150],
            "axes_px": [140, 120],
            "rotation_deg": 90.0,
            "pixels_across": 280,
            "pixels_per_mm": 7.0,
            "ellipse_angle_deg": 0.0,
        },
        "zones": [
            zone("minute track", ratio=-0.6, polygon=ring(130)),
            zone("signature", judged=False, reason=f"Too small in {name}."),
            zone("numerals", polygon=ring(100)),
        ],
        "warnings": [f"{name} is sharpened"],
    }
    return dial | changes


def photo():
    rng = np.random.default_rng(0)
    return rng.integers(120, 250, (300, 400, 3), dtype=np.uint8)


def without_line_ups(page: str) -> str:
    """An inspection page without the line-ups of drawn dials beside those of this one."""
    return re.sub(r'<aside class="asides".*?</aside>', "", page, flags=re.DOTALL)
