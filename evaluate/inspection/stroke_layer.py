"""The strokes that were measured, as lines over the photograph, each drawn once however many measurements it gave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]

_TOLERANCE = 0.3  # px of the photograph shown, by which a line may be drawn beside itself
_MOST = 6000  # lines


@dataclass(frozen=True)
class DrawnLine:
    """d : of an SVG path, px of the photograph shown. zone : name of the zone. searched : it is where something was
    looked for, not a stroke; shown only when asked for."""

    d: str
    zone: str
    searched: bool = False


@dataclass
class StrokeLayer:
    """Lines gathered one after another. scale : px of the picture shown per px measured. corner : px measured at the
    picture's top left."""

    scale: float
    corner: tuple[float, float] = (0.0, 0.0)
    lines: list[DrawnLine] = field(default_factory=list)
    _known: dict[bytes, int] = field(default_factory=dict)

    def add(self, zone: Zone, lines: Sequence[Floats], *, searched: bool = False) -> str:
        """Take up a measurement's lines; which they are, as ranges such as "0-3 7" of places in `lines`."""
        numbers = set()
        for line in lines:
            points = (np.asarray(line, dtype=np.float64) - self.corner) * self.scale
            if len(points) < 2 or not np.isfinite(points).all():
                continue
            key = np.round(points[[0, len(points) // 2, -1]], 2).tobytes()
            if key not in self._known:
                if len(self.lines) >= _MOST:
                    continue
                self._known[key] = len(self.lines)
                self.lines.append(DrawnLine(path_of(simplified(points)), zone.value, searched))
            numbers.add(self._known[key])
        return ranges(sorted(numbers))


def simplified(points: Floats, tolerance: float = _TOLERANCE) -> Floats:
    """The (N, 2) points a line needs so as to leave itself by no more than `tolerance` (Douglas and Peucker 1973)."""
    keep = np.zeros(len(points), dtype=np.bool_)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        between = points[first + 1 : last] - points[first]
        along = points[last] - points[first]
        square = float(along @ along)
        share = np.clip(between @ along / square, 0.0, 1.0) if square > 0 else np.zeros(len(between))
        off = np.hypot(*(between - share[:, None] * along).T)
        far = int(off.argmax())
        if off[far] > tolerance:
            middle = first + 1 + far
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return points[keep]


def path_of(points: Floats) -> str:
    """An SVG path of a line, to a tenth of a px."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def ranges(numbers: Sequence[int]) -> str:
    """Ascending numbers as "0-3 7 9-10"."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return " ".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)
