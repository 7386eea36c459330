"""What training never sees: some of it to calibrate on, the rest to ask how far a net goes beyond what it was shown.

Letterforms by whole families. Hands and cameras are ranges, no choice from a list: what calibrates is told in
train/run/finish.py, what the rungs show in evaluate/ladder/rungs.py, and neither has any of the other's.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from dialtell.synth.design.design import Variety

# For rungs and figures. One of each list of letterforms, so that dials can be drawn from these alone; a font family of
# each group; two marks, two layouts.
HELD_OUT = Variety(
    roman=("roman-slender",),
    arabic=("arabic-plain",),
    lettering=("italic-lower",),
    marks=("lozenge", "star"),
    layouts=("no seconds", "24-hour"),
    families=("playfair-display", "cormorant", "roboto-slab", "great-vibes", "oswald"),
)

# To calibrate on. A font family of each group that has no sister among the rest; lists of three or four letterforms,
# marks and layouts could not spare a second.
CALIBRATION_HELD = Variety(
    roman=(),
    arabic=(),
    lettering=(),
    marks=(),
    layouts=(),
    families=("newsreader", "vollkorn", "sanchez", "yellowtail", "josefin-sans"),
)


def without(held_out: Variety, variety: Variety | None = None) -> Variety:
    """`variety` (all there is for None) less what is held out."""
    whole = variety or Variety()
    lists: dict[str, Any] = {
        field.name: tuple(name for name in getattr(whole, field.name) if name not in getattr(held_out, field.name))
        for field in fields(Variety)
        if isinstance(getattr(whole, field.name), tuple)  # shares are as they are
    }
    return replace(whole, **lists)


TRAINING = without(CALIBRATION_HELD, without(HELD_OUT))


def calibrating(variety: Variety) -> Variety:
    """A training's variety with every hour, figure of a track and line set in the fonts held for calibration.

    The rings of figures of uncommon designs keep their skeletons, and so does what has no font of its kind.
    """
    return replace(variety, families=CALIBRATION_HELD.families, fonts=1.0)
