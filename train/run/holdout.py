"""What training never sees, kept to ask how far a net goes beyond what it was shown."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from dialtell.synth.design.design import Variety

# One of each list of letterforms, so that dials can be drawn from these alone; a font family of each group; two marks,
# two layouts. Severe wear,
# worse cameras and hands outside the training's range are no choice from a list: see evaluate/ladder/rungs.py.
HELD_OUT = Variety(
    roman=("roman-slender",),
    arabic=("arabic-plain",),
    lettering=("italic-lower",),
    marks=("lozenge", "star"),
    layouts=("no seconds", "24-hour"),
    families=("playfair-display", "cormorant", "roboto-slab", "great-vibes", "oswald"),
)


def without(held_out: Variety, variety: Variety | None = None) -> Variety:
    """`variety` (all there is for None) less what is held out."""
    whole = variety or Variety()
    lists = [field.name for field in fields(Variety) if isinstance(getattr(whole, field.name), tuple)]
    left: dict[str, Any] = {}
    for name in lists:
        left[name] = tuple(item for item in getattr(whole, name) if item not in getattr(held_out, name))
    return replace(whole, **left)


TRAINING = without(HELD_OUT)
