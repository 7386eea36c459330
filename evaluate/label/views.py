"""What the label page shows of a photograph: its picture, the dial the finder sees, and, only when asked, the call."""

from __future__ import annotations

import threading
from collections import OrderedDict
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.label.photos import LabelPhoto
from dialtell.evaluate.score.recognised import LEAST_CERTAIN
from dialtell.evaluate.words.cautions import CLOSING
from dialtell.evaluate.words.stated import stated_ratio
from dialtell.model.reader.file import load_reader
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import MAX_PIXELS, UNKNOWN, Known, Outline
from dialtell.model.reading.outline import LEAST_OUTLINE, Found, NoDial, find_outline
from dialtell.model.reading.photo import Photo, read_photo
from dialtell.synth.shared.srgb import codes

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

LONGEST = 6000  # px, longer side of a picture as sent: what a browser decodes without trouble
QUALITY = 95  # of the JPEG, at full colour resolution: strokes are what is looked at
_KEPT = 6  # pictures held ready


class LabelPicture(NamedTuple):
    """A photograph as JPEG bytes, and its own width and height in px, which may be larger than the picture's."""

    jpeg: bytes
    width: int
    height: int


class LabelViews:
    """Pictures, dials found and calls, made one at a time and held ready.

    weights : file of the weights that call, None for the shipped ones; loaded when the first call is asked for.
    """

    def __init__(self, weights: Path | None = None, max_pixels: int = MAX_PIXELS) -> None:
        self._path = weights
        self.max_pixels = max_pixels
        self._weights: Weights | None = None
        self._turn = threading.Lock()
        self._calling = threading.Lock()
        self._pictures: OrderedDict[str, LabelPicture] = OrderedDict()
        self._last: tuple[str, Photo] | None = None
        self._dials: dict[str, dict[str, Any]] = {}
        self._calls: dict[str, tuple[Known, dict[str, Any]]] = {}

    def picture(self, photo: LabelPhoto) -> LabelPicture:
        """The photograph upright. Raises PhotoError."""
        with self._turn:
            if photo.id not in self._pictures:
                self._pictures[photo.id] = _picture(self._read(photo))
                while len(self._pictures) > _KEPT:
                    self._pictures.popitem(last=False)
            self._pictures.move_to_end(photo.id)
            return self._pictures[photo.id]

    def dial(self, photo: LabelPhoto, known: Known = UNKNOWN) -> dict[str, Any]:
        """outline : "cx cy a b degrees" of the dial as it is known, else as the finder sees it; "" with a reason for
        none, also where it is not sure of it or too little of it is in the frame. Raises PhotoError."""
        if known.outline is not None:
            return {"outline": known.outline.text, "reason": ""}
        with self._turn:
            if photo.id not in self._dials:
                found = find_outline(self._read(photo), load_reader())
                reason = _why_not_shown(found)
                outline = "" if isinstance(found, NoDial) or reason else _outline_text(found.geometry)
                self._dials[photo.id] = {"outline": outline, "reason": reason}
            return self._dials[photo.id]

    def call(self, photo: LabelPhoto, known: Known = UNKNOWN) -> dict[str, Any]:
        """The tool's own call with what is known of the photograph, its outline if one was marked: call, log10_lr,
        support, reason, zones and the cautions that go with it. Raises PhotoError, WeightsError."""
        with self._calling:
            made = self._calls.get(photo.id)
            if made is None or made[0] != known:
                from dialtell.evaluate.score.score import score_photo
                from dialtell.model.net.weights_file import load_weights

                if self._weights is None:
                    self._weights = load_weights(self._path)
                record = score_photo(photo.path, self._weights, known=known).record
                zones = [
                    {"zone": zone["zone"], "judged": zone["judged"], "call": zone["call"], "reason": zone["reason"],
                     "log10_lr": stated_ratio(record, zone)}
                    for zone in record["zones"]
                ]  # fmt: skip
                told = {key: record[key] for key in ("call", "support", "reason", "warnings")}
                shown = {**told, "log10_lr": stated_ratio(record), "zones": zones, "cautions": CLOSING}
                self._calls[photo.id] = made = known, shown
            return made[1]

    def _read(self, photo: LabelPhoto) -> Photo:
        if self._last is None or self._last[0] != photo.id:
            self._last = None  # before the next is decoded: two large ones need not fit in memory
            self._last = photo.id, read_photo(photo.path, max_pixels=self.max_pixels)
        return self._last[1]


def _why_not_shown(found: Found | NoDial) -> str:
    """Why no outline is offered, fit to follow "No dial was found"; "" where one is."""
    if isinstance(found, NoDial):
        return found.reason
    if found.geometry.seen < LEAST_OUTLINE:
        return f"only {found.geometry.seen:.0%} of its outline lies in the picture"
    return "" if found.certainty >= LEAST_CERTAIN else "where its edge runs was not made out for certain"


def _outline_text(geometry: DialGeometry) -> str:
    (x, y), (a, b) = geometry.center_px, geometry.axes_px
    return Outline(x, y, a, b, float(np.degrees(geometry.angle))).text


def _picture(photo: Photo) -> LabelPicture:
    light = photo.pixels
    height, width = light.shape[:2]
    share = LONGEST / max(height, width)
    if share < 1:
        size = (max(1, round(width * share)), max(1, round(height * share)))
        light = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    shown = _codes()[np.rint(np.clip(light, 0.0, 1.0) * 65535).astype(np.uint16)]
    bgr = cv2.cvtColor(shown, cv2.COLOR_RGB2BGR)
    sampling = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY, *sampling])
    return LabelPicture(data.tobytes(), width, height)


@cache
def _codes() -> NDArray[np.uint8]:
    """(65536,) 8-bit sRGB code values of linear light 0..1 in equal steps."""
    return codes(np.linspace(0.0, 1.0, 65536))
