"""Sizes of what the reader looks at: its pictures are drawn and photographs are reduced to the same."""

from __future__ import annotations

SIDE = 384  # px, rows and columns of a look
SQUARE = 160.0  # px, radius of the outline in the second look, that at the dial made a circle
PADDING = 127  # code value outside the photograph
TURNS = 360  # directions among which 12 o'clock is chosen
