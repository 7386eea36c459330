"""What to photograph next as a page shows it: frames over the dial, their reasons beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.pages import pictures
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.reading.geometry import DialGeometry

Bytes = NDArray[np.uint8]

SIDE = 560  # px, longer side of the picture at most
MARGIN = 1.06  # dial radii shown
SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
PART = 1.0  # dial radii, wider frames are of the whole dial and not drawn


@dataclass(frozen=True)
class NextPhotographs:
    """For the template. says : what to do, in words. picture : the dial with its frames, None where the whole dial is
    asked for. reasons : of each frame, in order."""

    says: str
    picture: dict[str, Any] | None
    reasons: tuple[str, ...]


def next_photographs(
    fields: Sequence[Mapping[str, Any]], photo: Bytes, geometry: DialGeometry | None, *, several: bool = False
) -> NextPhotographs | None:
    """Of a record's next_fields; None where nothing is asked for.

    photo : (H, W, 3) sRGB as the page shows it. geometry : of the dial in it. several : more than one photograph
    has spoken of the dial.
    """
    if not fields or geometry is None:
        return None
    reasons = tuple(plain_name(field["reason"]) for field in fields)
    these = "these photographs" if several else "this photograph"
    near = [(number, field) for number, field in enumerate(fields, 1) if field["width"] <= PART]
    if not near:
        return NextPhotographs(
            f"Photograph the dial anew, and give that together with {these} and --one-dial.", None, reasons
        )
    one = near[0][1]
    finely = "" if one["px_per_mm"] is None else f", which is {one['px_per_mm']:.0f} pixels per millimetre"
    first = (
        "These places would most likely settle it, the first one most of all. Photograph each framed place from near"
        if len(near) == len(fields)
        else "Begin with the whole dial anew. Then photograph each framed place from near"
    )
    says = (
        f"{first}, "
        f"so that its frame fills the picture: sharp, and at least {-(-one['pixels'] // 50) * 50} pixels "
        f"across{finely}. "
        f"Give them together with {these} and --one-dial."
    )
    return NextPhotographs(says, _picture(near, photo, geometry), reasons)


def _picture(fields: Sequence[tuple[int, Mapping[str, Any]]], photo: Bytes, geometry: DialGeometry) -> dict[str, Any]:
    """The dial cut out, and each frame's corners and number in its px."""
    height, width = photo.shape[:2]
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    rim = geometry.to_photo(MARGIN * np.stack([np.sin(turn), np.cos(turn)], axis=1))
    low = np.clip(np.floor(rim.min(axis=0)), 0, (width - 1, height - 1)).astype(int)
    high = np.clip(np.ceil(rim.max(axis=0)), low + 1, (width, height)).astype(int)
    cut = pictures.fitted(np.ascontiguousarray(photo[low[1] : high[1], low[0] : high[0]]), SIDE)
    by = cut.shape[1] / (high[0] - low[0])
    shown = []
    for number, field in fields:
        corners = np.array([field["x"], field["y"]]) + 0.5 * field["width"] * SQUARE
        px = by * (geometry.to_photo(corners) - low)
        x, y = px.mean(axis=0)
        shown.append({"number": number, "points": " ".join(f"{a:.1f},{b:.1f}" for a, b in px), "x": round(float(x), 1),
                      "y": round(float(y), 1)})  # fmt: skip
    return {"uri": pictures.jpeg_uri(cut), "width": cut.shape[1], "height": cut.shape[0], "frames": shown}
