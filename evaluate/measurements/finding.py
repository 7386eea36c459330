"""One thing measured on one zone, and what can be measured at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]

RATIO, DENSITY, DEGREES, RADII, MM = "ratio", "D", "degrees", "dial radii", "mm"


@dataclass(frozen=True)
class Measure:
    """A measurement by name.

    unit : RATIO, DENSITY, DEGREES or RADII (a length). least : strokes below which the value is not given.
    spread : true where the value is above 0 and ranges over decades, and is therefore compared by its logarithm.
    more, less : what a dial with a high, a low value shows, for the sentence about it.
    """

    name: str
    unit: str
    least: int
    spread: bool
    more: str
    less: str


@dataclass(frozen=True, eq=False)
class Finding:
    """A measurement on one zone.

    value : in measure.unit, None where too few strokes were fit for it. strokes : it rests on.
    lines : centre lines or outlines (N, 2) of those strokes, sheet px or photo px as the holder says.
    """

    measure: Measure
    zone: Zone
    value: float | None
    strokes: int
    lines: tuple[Floats, ...] = ()

    def in_unit(self, diameter_mm: float | None) -> tuple[float | None, str]:
        """Value and unit, a length in mm where the dial's diameter is known."""
        if self.measure.unit != RADII or diameter_mm is None:
            return self.value, self.measure.unit
        require_range("diameter_mm", diameter_mm, 1e-3, 1e6, "mm")
        return None if self.value is None else self.value * 0.5 * diameter_mm, MM


def finding_of(
    measure: Measure, zone: Zone, values: Sequence[float] | Floats, value: float, lines: Sequence[Floats]
) -> Finding:
    """The finding, or "too few": `values` are what single strokes gave, `value` what they come to."""
    count = len(values)
    enough = count >= measure.least and bool(np.isfinite(value))
    return Finding(measure, zone, float(value) if enough else None, count, tuple(lines))


def robust_spread(values: Sequence[float] | Floats) -> float:
    """SD from the median absolute deviation (times 1.4826, exact for a normal law); nan without values."""
    some = np.asarray(values, dtype=np.float64)
    if not len(some):
        return float("nan")
    return float(1.4826 * np.median(np.abs(some - np.median(some))))


def middle(values: Sequence[float] | Floats) -> float:
    """Median, nan without values."""
    return float(np.median(values)) if len(values) else float("nan")


def require_measures(measures: Sequence[Measure]) -> dict[str, Measure]:
    """Measures by name, each name once."""
    by_name = {measure.name: measure for measure in measures}
    if len(by_name) != len(measures):
        raise ParameterError(f"measure names repeat among {[m.name for m in measures]}; give each its own")
    return by_name
