"""How far each measurement ranges on painted and on printed dials, by how finely the photograph resolves the dial.

Quantiles of drawn dials, made by `python tests/trials opinions/reference_spread`. They are what the renderer's dials
show, and stand for real ones only as far as it does.
"""

from __future__ import annotations

import importlib.resources
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.finding import Finding, Measure
from dialtell.evaluate.measurements.gathering import MEASURES
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]

SCHEMA = "dialtell.spread/1"
FILE = "reference_spread.json"
_ANEW = "make it anew with trials opinions/reference_spread"
PX_PER_MM = (0.0, 9.0, 16.0, 26.0, 40.0, math.inf)  # resolved, of an 18 size dial: edges of the bands
QUANTILES = 17  # at the middles of as many equal shares
LEAST_DIALS = 20  # of either class in a band, below which no spread is known
_SMALLEST = 1e-6  # of a value whose logarithm is taken
_DOUBT = 8.0  # dials' worth of "both alike" mixed into each density
_BLUNT = 0.45  # SDs, least width of the kernel: quantiles lie far apart in the tails
MOST_LEAN = 1.5  # log10, of one measurement


@dataclass(frozen=True, eq=False)
class Band:
    """Sorted quantiles of a measurement at one resolution. painted, printed : (QUANTILES,) in the measure's unit.

    n_painted, n_printed : dials they are from.
    """

    painted: Floats
    printed: Floats
    n_painted: int
    n_printed: int


@dataclass(frozen=True)
class SpreadPlace:
    """Where a value lies. painted, printed : percent of such dials that show less, 0..100. lean : log10 of how much
    commoner such a value is among painted than among printed dials."""

    painted: float
    printed: float
    lean: float

    @property
    def outside(self) -> bool:
        """Whether the value is unlike both: beyond the outermost quantile kept of each, also between two that lie
        apart."""
        return lies_outside(self.painted, self.printed)


def lies_outside(painted: float, printed: float) -> bool:
    """Whether a value with these percents below it lies beyond all quantiles kept of painted and of printed dials."""
    return {painted, printed} <= {0.0, 100.0}


@dataclass(frozen=True, eq=False)
class Spread:
    """bands : by zone and measure name, one entry a resolution band, None where too few dials gave a value."""

    bands: Mapping[tuple[str, str], tuple[Band | None, ...]]
    dials: int
    renderer_version: str

    def place(self, finding: Finding, true_pixels_per_radius: float) -> SpreadPlace | None:
        """None where the finding has no value or no spread is known."""
        band = self.band(finding, true_pixels_per_radius)
        return None if band is None or finding.value is None else place_in(band, finding.measure, finding.value)

    def band(self, finding: Finding, true_pixels_per_radius: float) -> Band | None:
        """The spread of a finding's measurement at a resolution, None where none is known."""
        rows = self.bands.get((finding.zone.value, finding.measure.name))
        if rows is None or not true_pixels_per_radius > 0:
            return None
        return rows[band_of(true_pixels_per_radius)]


def band_of(true_pixels_per_radius: float) -> int:
    """Number of the resolution band, from px per dial radius that carry detail."""
    per_mm = true_pixels_per_radius / (0.5 * size_mm(18))
    return int(np.clip(np.searchsorted(PX_PER_MM, per_mm, side="right") - 1, 0, len(PX_PER_MM) - 2))


def place_in(band: Band, measure: Measure, value: float) -> SpreadPlace:
    """Percentiles and lean of a value; the densities are smoothed over the quantiles (normal kernel, Silverman's width
    from memory) and drawn together by _DOUBT."""
    shares = (np.arange(len(band.painted)) + 0.5) / len(band.painted)
    painted, printed = (_scaled(measure, q) for q in (band.painted, band.printed))
    at = float(_scaled(measure, np.array([value]))[0])
    both = np.concatenate([painted, printed])
    at = float(np.clip(at, both.min(), both.max()))  # beyond all dials known the ratio is not carried on
    width = min(np.subtract(*np.quantile(q, [0.75, 0.25])) / 1.349 for q in (painted, printed))
    count = min(band.n_painted, band.n_printed)
    width = max(max(1.2 * count**-0.2, _BLUNT) * float(width), 0.03 * float(np.ptp(both)), 1e-9)
    first, second = (float(np.exp(-0.5 * ((at - q) / width) ** 2).mean()) for q in (painted, printed))
    alike = 0.5 * (first + second) + 1e-12
    first = (band.n_painted * first + _DOUBT * alike) / (band.n_painted + _DOUBT)
    second = (band.n_printed * second + _DOUBT * alike) / (band.n_printed + _DOUBT)
    lean = float(np.clip(math.log10(first / second), -MOST_LEAN, MOST_LEAN))
    return SpreadPlace(_percent(band.painted, shares, value), _percent(band.printed, shares, value), lean)


def _percent(quantiles: Floats, shares: Floats, value: float) -> float:
    """Percent of dials below a value, half of those equal to it counted."""
    low = np.interp(value, *_first_of_equals(quantiles, shares), left=0.0, right=1.0)
    high = 1.0 - np.interp(-value, *_first_of_equals(-quantiles[::-1], 1.0 - shares[::-1]), left=0.0, right=1.0)
    return float(50.0 * (low + high))


def _first_of_equals(quantiles: Floats, shares: Floats) -> tuple[Floats, Floats]:
    kept = np.concatenate([[True], np.diff(quantiles) > 0])
    return quantiles[kept], shares[kept]


def _scaled(measure: Measure, values: Floats) -> Floats:
    return np.log(np.maximum(values, _SMALLEST)) if measure.spread else values


def spread_of(rows: Iterable[Mapping[str, Any]], renderer_version: str) -> Spread:
    """The spread of measured dials: a row has hand (0, 1), scale (true px per dial radius), values by "zone|name"."""
    values: dict[tuple[str, str], list[tuple[list[float], list[float]]]] = {}
    dials = 0
    for row in rows:
        dials += 1
        band = band_of(row["scale"])
        for key, value in row["values"].items():
            zone, name = key.split("|")
            cells = values.setdefault((zone, name), [([], []) for _ in PX_PER_MM[1:]])
            cells[band][int(row["hand"])].append(value)
    bands = {key: tuple(_band(*cell) for cell in cells) for key, cells in sorted(values.items())}
    return Spread({key: cells for key, cells in bands.items() if any(cells)}, dials, renderer_version)


def _band(printed: list[float], painted: list[float]) -> Band | None:
    if min(len(printed), len(painted)) < LEAST_DIALS:
        return None
    shares = (np.arange(QUANTILES) + 0.5) / QUANTILES
    return Band(np.quantile(painted, shares), np.quantile(printed, shares), len(painted), len(printed))


def to_json(spread: Spread) -> dict[str, Any]:
    """The document of a spread, numbers to four figures."""

    def cell(band: Band | None) -> dict[str, Any] | None:
        if band is None:
            return None
        painted, printed = ([float(f"{v:.4g}") for v in q] for q in (band.painted, band.printed))
        return {"painted": painted, "printed": printed, "dials": [band.n_painted, band.n_printed]}

    return {
        "schema": SCHEMA,
        "dials": spread.dials,
        "renderer_version": spread.renderer_version,
        "px_per_mm": [edge if math.isfinite(edge) else None for edge in PX_PER_MM],
        "measurements": {f"{zone}|{name}": [cell(b) for b in bands] for (zone, name), bands in spread.bands.items()},
    }


def from_json(document: Mapping[str, Any], source: str) -> Spread:
    """Raises ParameterError naming the source where the document is not a spread of these bands and measures."""
    edges = [edge if math.isfinite(edge) else None for edge in PX_PER_MM]
    if document.get("schema") != SCHEMA or document.get("px_per_mm") != edges:
        raise ParameterError(f"{source} is no {SCHEMA} with these bands; {_ANEW}")
    bands = {}
    for key, cells in document["measurements"].items():
        zone, name = key.split("|")
        if name not in MEASURES or zone not in set(Zone):
            raise ParameterError(f"{source} holds {key!r}, unknown here; {_ANEW}")
        bands[zone, name] = tuple(
            None if c is None else Band(np.array(c["painted"]), np.array(c["printed"]), *c["dials"]) for c in cells
        )
    return Spread(bands, int(document["dials"]), str(document["renderer_version"]))


@lru_cache(maxsize=1)
def load_spread() -> Spread:
    """The spread that comes with dialtell."""
    text = importlib.resources.files(__package__).joinpath(FILE).read_text(encoding="utf-8")
    return from_json(json.loads(text), FILE)


def read_spread(path: str | Path) -> Spread:
    """A spread from a file made by trials opinions/reference_spread."""
    return from_json(json.loads(Path(path).read_text(encoding="utf-8")), str(path))
