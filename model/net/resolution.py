"""How finely a photograph shows its dial, and how finely it would have to."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dialtell.model.reading.patches import SCALE
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.sizes import size_mm

# true px per dial radius from which thin strokes can be read, where weights say nothing of it: 15 px/mm on an
# 18 size dial puts about 1.5 px on a hairline of 0.1 mm (judgement)
USUAL_NEED = 15.0 * size_mm(18) / 2
_MOST_UNDETERMINED = 0.5  # share of held-out dials left undetermined, above which a resolution is too low


@dataclass(frozen=True)
class Resolution:
    """Px across the dial: stored in the file, truly resolved (0 if that cannot be told), and needed.

    diameter_mm : None if not given. screened : it is a picture of a halftone, whose dots break up every stroke.
    """

    stored: float
    true: float
    needed: float
    diameter_mm: float | None = None
    screened: bool = False

    @property
    def carries_strokes(self) -> bool:
        """Whether a call may rest on this photograph at all: when a reproduction does not resolve what is needed,
        stop and say so (SWGDOC guideline, Forensic Science Communications 2(2), 2000)."""
        return self.enough and not self.screened

    @property
    def enough(self) -> bool:
        """Whether what is resolved is what the weights call for."""
        return self.true >= self.needed

    @property
    def inflated(self) -> bool:
        """Whether the file stores far more px than it resolves, and those it lacks would matter to the net."""
        return 0 < self.true < 0.4 * self.stored and self.true < 2 * SCALE

    @property
    def shortfall(self) -> str:
        """What is resolved against what is needed, as a clause."""
        need = f"{self.words(self.needed)} would be needed to read thin strokes"
        if self.true <= 0:
            return f"the photograph shows too few clean edges of strokes to tell how much it resolves, and {need}"
        if _two_figures(self.true) == _two_figures(self.needed):
            return (
                f"the photograph resolves just less than what is needed to read thin strokes: {self.words(self.needed)}"
            )
        return f"the photograph resolves {self.words(self.true)}, and {need}"

    def words(self, across: float) -> str:
        """Such as "about 640 px across the dial (14.3 px/mm)"."""
        per_mm = "" if self.diameter_mm is None else f" ({across / self.diameter_mm:.1f} px/mm)"
        return f"about {_two_figures(across)} px across the dial{per_mm}"


def resolution_of(reading: Reading, record: Mapping[str, Any], diameter_mm: float | None) -> Resolution:
    """record : of the weights, see model.store."""
    return Resolution(
        stored=reading.geometry.pixels_across,
        true=2.0 * reading.sharpness.true_pixels_per_radius,
        needed=2.0 * needed_pixels_per_radius(record),
        diameter_mm=diameter_mm,
        screened=reading.sharpness.halftone,
    )


def needed_pixels_per_radius(record: Mapping[str, Any]) -> float:
    """The lowest resolution at which most held-out dials got a call, from the figures that go with the weights.

    Figures name their bins in px/mm of an 18 size dial ("7 to 15 px/mm"); USUAL_NEED where none is good enough or
    there are no figures.
    """
    figures = record.get("figures")
    rows = figures.get("dial") if isinstance(figures, Mapping) else None
    for row in rows if isinstance(rows, list) else []:
        low = re.match(r"(\d+)", str(row.get("resolution"))) if isinstance(row, Mapping) else None
        share = row.get("undetermined_share") if low else None
        if low and isinstance(share, int | float) and share <= _MOST_UNDETERMINED:
            return float(low[1]) * size_mm(18) / 2
    return USUAL_NEED


def _two_figures(value: float) -> str:
    size = 10 ** max(math.floor(math.log10(max(value, 1.0))) - 1, 0)
    return str(round(value / size) * size)
