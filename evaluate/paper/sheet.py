"""Sheets of A4 filled from the top: paragraphs, points and pictures, as a PDF whose text can be searched.

Drawn by matplotlib in the typeface that comes with it, which carries the accents of Latin, Greek and Cyrillic.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from dialtell.evaluate.paper.still import wrapped

Bytes = NDArray[np.uint8]
Colour = tuple[int, int, int]

WIDTH, HEIGHT, MARGIN = 210.0, 297.0, 18.0  # mm
INK, SOFT, WHITE = (30, 29, 26), (93, 90, 82), (255, 255, 255)
_POINT = 25.4 / 72  # mm
_LEAD = 1.35  # from line to line, in sizes
_FINE = 8  # px per point in which lines are measured


class Sheet:
    """One sheet. y : mm from the top, where the next thing begins. foot : mm kept free at the bottom."""

    def __init__(self, foot: float = 0.0) -> None:
        self.figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4))
        self.y = MARGIN
        self._end = HEIGHT - MARGIN - foot

    @property
    def left(self) -> float:
        """mm that are free."""
        return self._end - self.y

    def text(
        self, text: str, points: float, *, bold: bool = False, colour: Colour = INK, x: float = MARGIN,
        width: float = WIDTH - 2 * MARGIN, after: float = 1.5, most: int | None = None,
    ) -> int:  # fmt: skip
        """A paragraph, as many lines as there is room for and at most `most`; how many. One that is cut ends in "…"."""
        tall = points * _LEAD * _POINT
        lines = wrapped(text, round(points * _FINE), round(width / _POINT * _FINE), bold=bold)
        room = max(int(self.left / tall), 0)
        room = room if most is None else min(room, most)
        if len(lines) > room:
            lines = [*lines[: room - 1], lines[room - 1][:-1] + "…"] if room else []
        for line in lines:
            self.figure.text(
                x / WIDTH, 1 - self.y / HEIGHT, line, fontsize=points, va="top", parse_math=False,
                fontweight="bold" if bold else "normal", color=_rgb(colour),
            )  # fmt: skip
            self.y += tall
        self.y += after if lines else 0.0
        return len(lines)

    def points(
        self, texts: Sequence[str], size: float, *, x: float = MARGIN, width: float = WIDTH - 2 * MARGIN
    ) -> None:
        """Points of a list."""
        for text in texts:
            top = self.y
            if self.text(text, size, x=x + 3.5, width=width - 3.5, after=0.8):
                end, self.y = self.y, top
                self.text("•", size, x=x, width=3.5)
                self.y = end

    def picture(self, image: Bytes, x: float, width: float, *, border: Colour | None = None) -> float:
        """(h, w, 3) sRGB, `width` mm wide with its left at `x`, at the height reached; its height in mm. The height
        reached stays: what goes beside it comes next."""
        tall = float(width * image.shape[0] / image.shape[1])
        axes = self.figure.add_axes((x / WIDTH, 1 - (self.y + tall) / HEIGHT, width / WIDTH, tall / HEIGHT))
        axes.imshow(image, interpolation="none", aspect="auto")
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set_edgecolor(_rgb(border or (217, 212, 199)))
            spine.set_linewidth(1.5 if border else 0.6)
        return tall

    def rule(self) -> None:
        """A line across."""
        self.figure.add_artist(_line(self.y))
        self.y += 3.0


def _rgb(colour: Colour) -> tuple[float, float, float]:
    red, green, blue = (part / 255 for part in colour)
    return red, green, blue


def _line(y: float) -> Line2D:
    at = 1 - y / HEIGHT
    return Line2D([MARGIN / WIDTH, 1 - MARGIN / WIDTH], [at, at], color="#5d5a52", linewidth=0.6)


def pdf_of(sheets: Sequence[Sheet], title: str) -> bytes:
    """The sheets as a PDF, the same bytes for the same sheets."""
    stream = io.BytesIO()
    with rc_context({"pdf.fonttype": 42, "font.family": "DejaVu Sans"}):
        told = {"Title": title, "Creator": "dialtell", "Producer": "dialtell", "CreationDate": None}
        with PdfPages(stream, metadata=told) as pages:
            for sheet in sheets:
                pages.savefig(sheet.figure)
    return stream.getvalue()
