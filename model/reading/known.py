"""What is known of a photograph before it is read, carried whole through every verb and function.

No NumPy here: help and flags import it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM
from dialtell.synth.shared.terms import Zone

MAX_PIXELS = 120_000_000
PER_MM = (0.5, 2000.0)  # px/mm that a close-up may be said to have
STAIN = "stain"  # alone of these it is on the dial itself, in every photograph of it
NOT_DESIGN = ("hand", STAIN, "label", "reflection")  # what may be marked as lying over the design
PLACE_KINDS = (*NOT_DESIGN, *(zone.value for zone in Zone))
MOST_PLACES, MOST_POINTS = 40, 80  # on a photograph; of a place's outline
LARGEST_PX = 70_000.0  # beyond any photograph's side


class Outline(NamedTuple):
    """The enamel's outer edge as an ellipse: centre and semi-axes a >= b in px of the photograph held upright, degrees
    of the major axis from +x towards +y."""

    cx: float
    cy: float
    a: float
    b: float
    degrees: float

    @property
    def text(self) -> str:
        """As tables and flags have it: "cx cy a b degrees"."""
        return " ".join(f"{value:.2f}" for value in self)


def read_outline(text: str) -> Outline:
    """An outline from "cx cy a b degrees"; ParameterError when it is none."""
    try:
        outline = Outline(*(float(part) for part in text.split()))
    except (ValueError, TypeError):
        raise ParameterError(f"outline is {text!r}; give five numbers: cx cy a b degrees") from None
    if not all(map(math.isfinite, outline)) or not 0 < outline.b <= outline.a:
        raise ParameterError(f"outline is {text!r}; give finite numbers with semi-axes a >= b > 0 px")
    return outline


class MarkedPlace(NamedTuple):
    """A place that a person drew round. what : one of PLACE_KINDS, what lies over the design there or which zone it
    belongs to. polygon : corners (x, y), px of the photograph held upright. by, at : who drew it, and when; "" where
    that is not said."""

    what: str
    polygon: tuple[tuple[float, float], ...]
    by: str = ""
    at: str = ""

    @property
    def zone(self) -> Zone | None:
        """The zone it was said to belong to, None of what is not of the design."""
        return None if self.what in NOT_DESIGN else Zone(self.what)

    @property
    def text(self) -> str:
        """As tables and flags have it: "what x y x y x y"."""
        return " ".join([self.what, *(f"{value:.1f}" for point in self.polygon for value in point)])

    def record(self) -> dict[str, Any]:
        """For a JSON document."""
        said = {"what": self.what, "polygon": [list(point) for point in self.polygon], "by": self.by, "at": self.at}
        return {name: value for name, value in said.items() if value}


def place_from(record: Mapping[str, Any]) -> MarkedPlace:
    """What `MarkedPlace.record` wrote down. Raises ParameterError."""
    what, by, at = record.get("what"), record.get("by", ""), record.get("at", "")
    if what not in PLACE_KINDS:
        raise ParameterError(f"what is marked is {str(what)[:40]!r}; give one of {', '.join(PLACE_KINDS)}")
    if not all(isinstance(text, str) and len(text) <= 200 and text.isprintable() for text in (by, at)):
        raise ParameterError("who marked a place, or when, is no short text; leave it out")
    try:
        polygon = tuple((round(float(x), 1), round(float(y), 1)) for x, y in record["polygon"])
    except (KeyError, TypeError, ValueError, OverflowError):
        raise ParameterError("the outline of a marked place is no list of corners; draw it anew") from None
    if not 3 <= len(polygon) <= MOST_POINTS:
        raise ParameterError(f"a marked place has {len(polygon)} corners; give 3 to {MOST_POINTS}")
    if not all(0.0 <= value <= LARGEST_PX for point in polygon for value in point):
        raise ParameterError("a marked place lies outside the photograph; draw it anew")
    return MarkedPlace(str(what), polygon, by, at)


def read_place(text: str) -> MarkedPlace:
    """A place from "what x y x y x y"; ParameterError when it is none."""
    what = next((kind for kind in PLACE_KINDS if text.strip().startswith(f"{kind} ")), "")
    numbers = text.strip().removeprefix(what).split()
    if not what or len(numbers) % 2:
        raise ParameterError(
            f"place is {text[:60]!r}; give what lies there ({', '.join(PLACE_KINDS)}) and its corners: hand x y x y x y"
        )
    return place_from({"what": what, "polygon": list(zip(numbers[::2], numbers[1::2], strict=True))})


def read_places(text: str) -> tuple[MarkedPlace, ...]:
    """Places from a table's cell, with ";" between them. Raises ParameterError."""
    return tuple(read_place(part) for part in text.split(";") if part.strip())


@dataclass(frozen=True)
class Known:
    """What is known of a photograph; None and false mean: not said.

    diameter_mm : of the dial. close_up : it shows only a part of the dial. pixels_per_mm : scale of a close-up, px/mm;
    implies close_up. zone : which zone a close-up shows; implies close_up. outline : of the enamel, which is then not
    looked for. twelve_deg : where 12 o'clock stands as the photograph shows it, degrees clockwise from up, -360..360.
    places : that a person drew round, later ones over earlier ones.
    max_pixels : larger photographs are refused.
    Raises ParameterError for a value out of its range, and where an outline is given of a close-up.
    """

    diameter_mm: float | None = None
    close_up: bool = False
    pixels_per_mm: float | None = None
    zone: Zone | None = None
    outline: Outline | None = None
    twelve_deg: float | None = None
    places: tuple[MarkedPlace, ...] = ()
    max_pixels: int = MAX_PIXELS

    def __post_init__(self) -> None:
        if self.diameter_mm is not None:
            require_range("diameter_mm", self.diameter_mm, SMALLEST_MM, LARGEST_MM, "mm")
        if self.pixels_per_mm is not None:
            require_range("pixels_per_mm", self.pixels_per_mm, *PER_MM, "px/mm")
        if self.twelve_deg is not None:
            require_range("twelve_deg", self.twelve_deg, -360.0, 360.0, "degrees")
        if len(self.places) > MOST_PLACES:
            raise ParameterError(f"{len(self.places)} places are marked; mark at most {MOST_PLACES}")
        if self.max_pixels < 1:
            raise ParameterError(f"max_pixels is {self.max_pixels}; give at least 1")
        if self.outline is not None and self.part:
            raise ParameterError(
                "outline is given of a close-up; give the whole dial's outline alone, or a close-up without it"
            )

    @property
    def part(self) -> bool:
        """Whether it is known to show only a part of the dial."""
        return self.close_up or self.pixels_per_mm is not None or self.zone is not None

    def whole(self) -> Known:
        """The same of a photograph that shows the whole dial."""
        return replace(self, close_up=False, pixels_per_mm=None, zone=None)

    def record(self) -> dict[str, Any]:
        """What was said, for a JSON document; max_pixels, which changes no reading, is left out."""
        said = {
            "diameter_mm": self.diameter_mm,
            "close_up": True if self.part else None,
            "pixels_per_mm": self.pixels_per_mm,
            "zone": None if self.zone is None else self.zone.value,
            "outline": None if self.outline is None else list(self.outline),
            "twelve_deg": self.twelve_deg,
            "places": [place.record() for place in self.places] or None,
        }
        return {name: value for name, value in said.items() if value is not None}


UNKNOWN = Known()
KnownOf = Callable[[Path], Known]


def known_for(known: Known | KnownOf, path: Path) -> Known:
    """What is known of one photograph, where that was said of all of them or by a function of the path."""
    return known(path) if callable(known) else known


def known_from(record: Mapping[str, Any], *, max_pixels: int = MAX_PIXELS) -> Known:
    """What `Known.record` wrote down. Raises ParameterError where it is no such record."""
    try:
        outline, zone = record.get("outline"), record.get("zone")
        return Known(
            diameter_mm=record.get("diameter_mm"),
            close_up=bool(record.get("close_up", False)),
            pixels_per_mm=record.get("pixels_per_mm"),
            zone=None if zone is None else Zone(zone),
            outline=None if outline is None else Outline(*map(float, outline)),
            twelve_deg=record.get("twelve_deg"),
            places=tuple(map(place_from, record.get("places", ()))),
            max_pixels=max_pixels,
        )
    except (AttributeError, TypeError, ValueError) as error:
        raise ParameterError(f"what was known of the photograph is damaged ({error}); score it again") from error
