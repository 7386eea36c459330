"""A still of an inspection for print or e-mail: the marked photograph beside the call in words, as one PNG.

Drawn without a browser, in a typeface that comes with matplotlib and carries the accents of Latin, Greek and Cyrillic.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from dialtell.evaluate.maps.map_words import LEGEND
from dialtell.evaluate.paper.still_picture import INK, OPEN, STYLES, WHITE, marked, tag_places, zone_style
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.first_words import headline
from dialtell.evaluate.words.plain import in_order, plain_name
from dialtell.evaluate.words.shares import Shares
from dialtell.evaluate.words.stated import stated_chance, stated_ratio
from dialtell.evaluate.words.support import chance_text, findings_sentence, signed
from dialtell.model.net.calibration import HAND, PRINTED
from dialtell.synth.shared.files import write_whole

WIDTH, MARGIN, GAP = 1600, 48, 40  # px
PICTURE = (960, 1280)  # px, the photograph's largest width and height
DPI = 200  # 1600 px print 203 mm wide
SOFT = (93, 90, 82)
_COLUMN = WIDTH - 2 * MARGIN - GAP - PICTURE[0]
_LEAD = 1.35  # from line to line, in sizes
_MOST_NAME = 90  # characters of a file's name

Bytes = NDArray[np.uint8]


def still_png(
    photo: Bytes,
    record: Mapping[str, Any],
    added: NDArray[np.float32] | None,
    model: Mapping[str, Any],
    shares: Shares | None = None,
) -> bytes:
    """The still, PNG of WIDTH px.

    photo : (H, W, 3) uint8 sRGB. record : of schema dialtell.score/1, its px those of `photo`; None for its geometry
    draws no outline. added : (H, W), what each place adds, positive towards hand, or None. model : as of
    page.write_page. shares : what the call is the sum of.
    """
    fit = min(PICTURE[0] / photo.shape[1], PICTURE[1] / photo.shape[0])
    size = (max(round(photo.shape[1] * fit), 1), max(round(photo.shape[0] * fit), 1))
    right = _call_column(record, added is not None, shares)
    head = _Column(WIDTH - 2 * MARGIN)
    head.add(f"Photograph {_shortened(plain_name(Path(record['photo']).name))}", 22, SOFT)
    head.add(headline(record), 46, INK, bold=True, after=20)
    foot = _foot(record, model)
    top = MARGIN + head.height
    middle = max(size[1], right.height)
    height = top + middle + GAP + foot.height + MARGIN
    sheet = Image.new("RGB", (WIDTH, height), WHITE)
    draw = ImageDraw.Draw(sheet)
    head.draw(draw, MARGIN, MARGIN)
    picture = Image.fromarray(marked(photo, record, added, size))
    _tags(ImageDraw.Draw(picture), record, fit, size)
    sheet.paste(picture, (MARGIN, top))
    draw.rectangle((MARGIN - 1, top - 1, MARGIN + size[0], top + size[1]), outline=OPEN)
    right.draw(draw, WIDTH - MARGIN - _COLUMN, top)
    foot.draw(draw, MARGIN, top + middle + GAP)
    stream = io.BytesIO()
    sheet.save(stream, "PNG", dpi=(DPI, DPI))
    return stream.getvalue()


def write_still(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write the still whole or not at all; OutputError when it exists (unless overwrite) or cannot be written."""
    write_whole(path, content, overwrite=overwrite)


class _Column:
    """Text under text in a column: laid out first, so that its height is known, then drawn."""

    def __init__(self, width: int) -> None:
        self.width, self.height = width, 0
        self._lines: list[tuple[int, int, str, int, bool, tuple[int, int, int]]] = []
        self._samples: list[tuple[int, tuple[tuple[int, int, int], int, int]]] = []

    def add(
        self, text: str, size: int, colour: tuple[int, int, int], *, bold: bool = False, indent: int = 0, after: int = 6
    ) -> None:
        """A paragraph, wrapped."""
        for line in wrapped(text, size, self.width - indent, bold=bold):
            self._lines.append((indent, self.height, line, size, bold, colour))
            self.height += round(_LEAD * size)
        self.height += after

    def point(self, text: str) -> None:
        """A point of a list, its lines indented after the dot."""
        top = self.height
        self.add(text, 20, INK, indent=22, after=2)
        self._lines.append((0, top, "•", 20, False, INK))

    def sample(self, style: tuple[tuple[int, int, int], int, int], text: str) -> None:
        """A line of the legend: a piece of border and what it means."""
        self._samples.append((self.height + 15, style))
        self.add(text, 20, INK, indent=70, after=4)

    def draw(self, draw: ImageDraw.ImageDraw, x: int, y: int) -> None:
        for indent, top, line, size, bold, colour in self._lines:
            draw.text((x + indent, y + top), line, fill=colour, font=_font(size, bold))
        for top, (colour, drawn, left_out) in self._samples:
            for start in range(0, 54, drawn + left_out):
                draw.line((x + start, y + top, x + min(start + drawn, 54), y + top), fill=colour, width=4)


def _call_column(record: Mapping[str, Any], mapped: bool, shares: Shares | None) -> _Column:
    column = _Column(_COLUMN)
    ratio, chance = stated_ratio(record), stated_chance(record)
    capped = str(record["support"]).startswith("at least")
    beyond = "" if not capped or ratio is None else " or more" if ratio > 0 else " or less"
    column.add("Support", 20, SOFT, after=0)
    column.add(_capital(record["support"]), 28, INK, bold=True, after=12)
    if ratio is not None and chance is not None:
        column.add("log10 likelihood ratio", 20, SOFT, after=0)
        column.add(f"{signed(ratio)}{beyond}", 28, INK, bold=True, after=12)
        column.add("Probability of hand painting at prior 1:1", 20, SOFT, after=0)
        column.add(chance_text(chance) + beyond, 28, INK, bold=True, after=12)
        column.add(findings_sentence(ratio, capped), 20, SOFT, after=12)
    column.add(plain_name(record["reason"]), 22, INK, after=18)
    zones = in_order(record["zones"])
    if zones:
        column.add("Zone by zone", 24, INK, bold=True)
    for zone in zones:
        said = zone["call"] if zone["judged"] else "not judged"
        shown = stated_ratio(record, zone)
        number = "" if shown is None else f", {signed(shown)}"
        column.add(f"{_capital(zone['zone'])}: {said}{number}", 20, INK, after=2)
    column.add("", 10, INK)
    if any(zone["polygon_px"] for zone in zones):
        column.sample(STYLES[HAND], "zone called hand-painted")
        column.sample(STYLES[PRINTED], "zone called printed")
        column.sample(STYLES["open"], "undetermined or not judged")
    if record["geometry"] is not None:
        column.sample((INK, 1, 0), "dial found, a short line at 12 o’clock")
    if mapped:
        column.add(f"{LEGEND} The full strength is relative to this photograph.", 20, INK)
        if shares is not None and ratio is not None:
            column.add(shares.sentence(capped=capped), 20, INK)
    return column


def _foot(record: Mapping[str, Any], model: Mapping[str, Any]) -> _Column:
    column = _Column(WIDTH - 2 * MARGIN)
    if record["warnings"]:
        column.add("Warnings", 22, INK, bold=True)
        for warning in record["warnings"]:
            column.point(plain_name(warning))
        column.add("", 10, INK)
    column.add("Before you rely on this", 22, INK, bold=True)
    for caution in CAUTIONS:
        column.point(caution)
    column.add("", 10, INK)
    versions = (
        f"dialtell {metadata.version('dialtell')}. Model {model['name']} {model['version']}, weights SHA-256 "
        f"{model['sha256']}, renderer {model['renderer_version']}."
    )
    column.add(versions, 18, SOFT, after=0)
    return column


def _tags(draw: ImageDraw.ImageDraw, record: Mapping[str, Any], scale: float, size: tuple[int, int]) -> None:
    """Names at the zones' topmost corners, held inside the picture and clear of one another."""
    font, taken = _font(20, False), list[tuple[float, float, float, float]]()
    for zone, x, y in sorted(tag_places(record, scale), key=lambda place: place[2]):
        name = _capital(zone["zone"])
        half, tall = 0.5 * font.getlength(name) + 7, 28
        x = min(max(x, half), max(size[0] - half, half))
        y = min(max(y - 0.5 * tall, 0), max(size[1] - tall, 0))
        for left, top, end, bottom in sorted(taken, key=lambda box: box[1]):
            if x + half > left and x - half < end and y + tall > top and y < bottom:
                y = bottom + 2
        box = (x - half, y, x + half, y + tall)
        taken.append(box)
        draw.rectangle(box, fill=WHITE, outline=zone_style(zone)[0], width=2)
        draw.text((x, y + 0.5 * tall), name, fill=INK, font=font, anchor="mm")


def wrapped(text: str, size: int, width: int, *, bold: bool = False) -> list[str]:
    """Lines no wider than `width` px; a word that is too long is broken. Marks the typeface lacks become "?"."""
    font = _font(size, bold)
    lines = [""]
    for word in _carried(text).split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if font.getlength(joined) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for mark in word:
            if font.getlength(lines[-1] + mark) > width and lines[-1]:
                lines.append("")
            lines[-1] += mark
    return lines


def _carried(text: str) -> str:
    composed = unicodedata.normalize("NFC", text)
    return "".join(mark if ord(mark) in _marks() else "?" for mark in composed)


@cache
def _marks() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(_face(False))).get_charmap())


def _face(bold: bool) -> Path:
    from matplotlib import get_data_path

    return Path(get_data_path()) / "fonts" / "ttf" / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")


@cache
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(_face(bold)), size, layout_engine=ImageFont.Layout.BASIC)


def _capital(text: object) -> str:
    name = plain_name(text)
    return name[:1].upper() + name[1:]


def _shortened(name: str) -> str:
    return name if len(name) <= _MOST_NAME else f"{name[: _MOST_NAME // 2]}…{name[-_MOST_NAME // 2 :]}"
