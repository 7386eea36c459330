"""The report of a dial, for a client or a file: call, reasons, pictures, cautions, versions, hashes, on three sheets.

Sheet one is the call with the dial and what spoke loudest, sheet two the dial part by part, sheet three what to know
before relying on it. Text that has no room is cut with "…"; there is never a fourth sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.pages import pictures
from dialtell.evaluate.paper.sheet import HEIGHT, MARGIN, SOFT, WHITE, WIDTH, Sheet, pdf_of
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.synth.shared.files import write_whole

LOUD_MM, NEXT_MM = 46.0, 62.0  # width of pictures on paper
PART_MM = 36.0, 58.0  # likewise of the parts, where there are many and where there are few
PX_PER_MM = 7.5  # of pictures, 190 a inch
LEAST_PX = 40
MOST_PARTS = 5
_STYLES = {"hand": pictures.HAND_RGB, "print": pictures.PRINT_RGB}

Bytes = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Shown:
    """A picture with what is said of it. style : "hand", "print" or "open". strip : (h, w, 3) like strokes side by
    side, None without; strip_says : what they are."""

    heading: str
    says: str
    style: str
    picture: Bytes | None
    strip: Bytes | None = None
    strip_says: str = ""


@dataclass(frozen=True, eq=False)
class Report:
    """What a report says; all text is plain. names : of the photographs. strong, one_in : how strong, "" where nothing
    is stated. dial_name : "" where none is given. dated : strokes, date and both. dial : (h, w, 3) sRGB, what is framed
    on it drawn in. loud : what spoke loudest. parts : of the dial, in the examiner's order. product : what the parts
    make together. missing, how : what is missing and how to get it. versions : (name, value). next_says, next_picture,
    next_reasons : what to photograph next; "" and none of a settled dial."""

    names: Sequence[str]
    headline: str
    strong: str
    one_in: str
    dated: Sequence[tuple[str, str]]
    reasons: Sequence[str]
    dial: Bytes
    loud: Sequence[Shown]
    parts: Sequence[Shown]
    product: str
    not_judged: Sequence[str]
    missing: str
    how: Sequence[str]
    warnings: Sequence[str]
    versions: Sequence[tuple[str, str]]
    dial_name: str = ""
    next_says: str = ""
    next_picture: Bytes | None = None
    next_reasons: Sequence[str] = ()


def report_pdf(report: Report) -> bytes:
    """The report as a PDF of three sheets of A4."""
    sheets = [_call(report), _parts(report), _trust(report)]
    for number, sheet in enumerate(sheets, start=1):
        sheet.figure.text(
            1 - MARGIN / WIDTH, 10 / HEIGHT, f"{number} of {len(sheets)}", fontsize=8, ha="right",
            color=tuple(part / 255 for part in SOFT),
        )  # fmt: skip
    return pdf_of(sheets, f"Painted or printed: {_shortened(', '.join(report.names), 200)}")


def write_report(path: Path, report: Report, *, overwrite: bool = False) -> None:
    """Write it whole or not at all; OutputError when it exists (unless overwrite) or cannot be written."""
    write_whole(path, report_pdf(report), overwrite=overwrite)


def _call(report: Report) -> Sheet:
    sheet, wide = Sheet(), WIDTH - 2 * MARGIN
    several = "s" if len(report.names) > 1 else ""
    named = f"Dial {_shortened(report.dial_name, 80)}. " if report.dial_name else ""
    sheet.text(f"{named}Photograph{several} {_shortened(', '.join(report.names), 160)}", 9, colour=SOFT, most=2)
    sheet.text(report.headline, 19, bold=True, after=2.5, most=3)
    if report.strong:
        sheet.text(f"{report.strong}.", 12, bold=True, after=0.5, most=2)
        sheet.text(report.one_in, 11, after=3, most=3)
    for who, says in report.dated:
        sheet.text(f"{who}: {says}", 10, most=4)
    for reason in report.reasons:
        sheet.text(reason, 10, most=6)
    sheet.y += 2
    loud = [(one, _fitted(one.picture, LOUD_MM)) for one in report.loud[:2] if one.picture is not None]
    room = sheet.left - (LOUD_MM + 6 if loud else 0)
    dial = min(wide, max(room, 20.0) * report.dial.shape[1] / report.dial.shape[0])
    sheet.y += sheet.picture(_fitted(report.dial, dial), MARGIN + 0.5 * (wide - dial), dial) + 5
    top, column = sheet.y, wide / max(len(loud), 1)
    for number, (one, picture) in enumerate(loud):
        x, sheet.y = MARGIN + number * column, top
        sheet.picture(picture, x, min(LOUD_MM, sheet.left), border=_STYLES.get(one.style))
        heading = f"Loudest: {one.heading}" if len(loud) == 1 else one.heading
        left, width = x + LOUD_MM + 5, column - LOUD_MM - 8
        sheet.text(heading, 11, bold=True, x=left, width=width, most=2)
        sheet.text(one.says, 10, x=left, width=width, most=6)
    return sheet


def _parts(report: Report) -> Sheet:
    sheet, parts = Sheet(), report.parts[:MOST_PARTS]
    sheet.text("Part by part", 14, bold=True, after=3)
    below = (14.0 if report.product else 0.0) + (8.0 + 9.0 * min(len(report.not_judged), 4))
    each = (sheet.left - below) / max(len(parts), 1) - 4
    side = float(np.clip(each, *PART_MM))
    x = MARGIN + side + 6
    for part in parts:
        top, tall = sheet.y, 0.0
        if part.picture is not None:
            tall = sheet.picture(_fitted(part.picture, side), MARGIN, side, border=_STYLES.get(part.style))
        sheet.text(part.heading, 11, bold=True, x=x, width=WIDTH - MARGIN - x, most=2)
        sheet.text(part.says, 10, x=x, width=WIDTH - MARGIN - x, most=3)
        if part.strip is not None:
            sheet.text(part.strip_says, 9, x=x, width=WIDTH - MARGIN - x, most=2)
            high = max(top + side - sheet.y, 8.0)
            wide = min(WIDTH - MARGIN - x, high * part.strip.shape[1] / part.strip.shape[0])
            sheet.y += sheet.picture(_fitted(part.strip, wide), x, wide, border=WHITE)
        sheet.y = max(sheet.y, top + tall) + 4
    if report.product:
        sheet.text(report.product, 10, most=4)
    if report.not_judged:
        sheet.text("Not judged", 11, bold=True)
        sheet.points(report.not_judged, 9)
    return sheet


def _trust(report: Report) -> Sheet:
    sheet = Sheet()
    if report.warnings:
        sheet.text("Warnings", 12, bold=True)
        sheet.points([_shortened(one, 420) for one in report.warnings[:8]], 9.5)
        sheet.y += 3
    sheet.text("What is missing, and how to get it", 12, bold=True)
    sheet.text(report.missing, 9.5, most=3)
    sheet.points(report.how, 9.5)
    sheet.y += 3
    _next(sheet, report)
    sheet.text("Before you rely on this", 12, bold=True)
    sheet.points(CAUTIONS, 9.5)
    sheet.y += 2
    sheet.rule()
    sheet.text("Made with", 10, bold=True)
    for name, value in report.versions:
        sheet.text(f"{_shortened(name, 120)}: {value}", 7.5, colour=SOFT, after=0.6, most=3)
    return sheet


def _next(sheet: Sheet, report: Report) -> None:
    """What to photograph next: the dial with its frames, and why."""
    if not report.next_says or sheet.left < NEXT_MM + 30:
        return
    sheet.text("What to photograph next", 12, bold=True)
    sheet.text(report.next_says, 9.5, most=4)
    top, x, tall = sheet.y, MARGIN, 0.0
    if report.next_picture is not None:
        wide = NEXT_MM * min(1.0, report.next_picture.shape[1] / report.next_picture.shape[0])
        tall, x = sheet.picture(_fitted(report.next_picture, wide), MARGIN, wide), MARGIN + wide + 6
    for number, reason in enumerate(report.next_reasons, start=1):
        sheet.text(f"{number}. {reason}", 9.5, x=x, width=WIDTH - MARGIN - x, most=4)
    sheet.y = max(sheet.y, top + tall) + 4


def _fitted(image: Bytes, mm: float) -> Bytes:
    """No finer than paper shows, in colour."""
    rgb = np.repeat(image[..., None], 3, axis=2) if image.ndim == 2 else image
    height, width = rgb.shape[:2]
    scale = max(mm * PX_PER_MM, LEAST_PX) / width
    if scale >= 1.0:
        return rgb
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most // 2]}…{text[-most // 2 :]}"
