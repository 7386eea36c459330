"""Drawn dials beside real ones at one magnification, the same patch of each, to be looked at.

    python tests/trials realism/sheets --photos DIR DIR --list FILE.csv FILE.csv --out /tmp/sheets

Writes OUT/10-figure.png and so on, OUT outside the project: a figure, a piece of the track and the signature at 10 and
30 px/mm, above of real dials that resolve at least half of that, below of drawn ones that resolve what those do; at 60
and 120 px/mm drawn dials alone, where most goes on in the frame. px/mm are of an 18 size dial. All are enlarged without
smoothing. dials.py says what a list holds.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from trials.realism.dials import (
    RADIUS_MM,
    Dial,
    add_flags,
    drawn_dials,
    one_thread,
    outside,
    real_dials,
    reported,
    scope_of,
)

from dialtell.model.reading.photo import display
from dialtell.model.reading.steps import Reading
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import DialtellError
from dialtell.synth.shared.terms import Zone

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

BESIDE = (10.0, 30.0)  # px/mm, real and drawn
ALONE = (60.0, 120.0)  # px/mm, drawn only
RESOLVED = 0.5  # of the magnification, that a real dial must resolve
WIDE = {10.0: 6.0, 30.0: 5.0, 60.0: 3.0, 120.0: 2.0}  # mm across a tile
TILE = 300  # px on the sheet
COLUMNS = 6
SPOTS = ("figure", "track", "signature")
HOURS = (2, 4, 8, 10, 1, 5, 7, 11, 12, 3, 9, 6)  # in which a place without a hand over it is looked for
HIDDEN = 0.03  # share of a tile that a hand may cover
KINDS = {1: "painted", 0: "printed", -1: "?"}


def spot(reading: Reading, what: str, width: float) -> Floats | None:
    """(2,) dial radii, the middle of a patch of the dial `width` dial radii wide that shows a figure, a piece of the
    track or the signature; None where the dial has none in view."""
    zones = reading.zones
    if what == "signature":
        outline = zones.polygon(Zone.SIGNATURE)
        return None if not zones.named or not len(outline) else np.asarray(outline.mean(axis=0))
    zone, band = {"figure": (Zone.NUMERALS, zones.numerals), "track": (Zone.MINUTE_TRACK, zones.track)}[what]
    if zone not in zones.found or band is None:
        return None
    axis = np.linspace(-0.5, 0.5, 9) * width
    square = np.stack(np.meshgrid(axis, axis), axis=2).reshape(-1, 2)
    turn = np.radians(30.0 * np.array(HOURS))
    at = np.mean(band) * np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    hidden = zones.share(zones.hands, at[:, None] + square)
    free = np.flatnonzero(hidden <= HIDDEN)
    return np.asarray(at[free[0] if len(free) else int(hidden.argmin())])


def tile(dial: Dial, what: str, per_mm: float) -> Bytes | None:
    """(S, S, 3) sRGB, a patch face on at `per_mm` px/mm; None where the dial has no such place."""
    width = WIDE[per_mm] / RADIUS_MM
    centre = spot(dial.reading, what, width)
    if centre is None:
        return None
    light, geometry = dial.photo.pixels, dial.reading.geometry
    factor = per_mm * RADIUS_MM / geometry.pixels_per_radius
    if factor < 0.9:  # so that nothing is skipped over
        shape = (max(round(light.shape[1] * factor), 1), max(round(light.shape[0] * factor), 1))
        light = np.asarray(cv2.resize(light, shape, interpolation=cv2.INTER_AREA))
        geometry = geometry.scaled(shape[0] / dial.photo.codes.shape[1])
    side = round(WIDE[per_mm] * per_mm)
    axis = ((np.arange(side) + 0.5) / side - 0.5) * width
    grid = geometry.to_photo(centre + np.stack(np.meshgrid(axis, axis), axis=2)).astype(np.float32) - np.float32(0.5)
    cut = cv2.remap(light, grid[..., 0], grid[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT)
    return display(np.clip(cut, 0.0, 1.0).astype(np.float32))


def close_tile(index: int, per_mm: float, scope: Range, seed: int) -> tuple[str, Bytes]:
    """Words and (S, S, 3) sRGB: of a drawn close-up at `per_mm` px/mm, the patch in which most goes on."""
    size = per_mm * RADIUS_MM
    # watch hands are not what is to be looked at
    near = replace(scope, pixels_per_radius=(size, size), part=1.0, max_side=1100, hands_off=1.0)
    spec = sample_spec(seed, index, near)
    pixels = render(spec)
    side = min(round(WIDE[per_mm] * per_mm), *pixels.shape[:2])
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    mean, square = (cv2.boxFilter(one, -1, (side, side)) for one in (grey, grey**2))
    half, busy = side // 2, square - mean**2
    inner = busy[half : len(busy) - side + half + 1, half : busy.shape[1] - side + half + 1]
    row, column = np.unravel_index(int(inner.argmax()), inner.shape)
    process = spec.making.processes[0].value
    return f"drawn {index} {process}", pixels[row : row + side, column : column + side]


def board(rows: Sequence[tuple[str, Sequence[tuple[str, Bytes]]]]) -> Image.Image:
    """Tiles under their captions, under a heading each."""
    deep = TILE + 16
    heights = [20 + deep * -(-max(len(tiles), 1) // COLUMNS) for _, tiles in rows]
    sheet = Image.new("RGB", (COLUMNS * (TILE + 4), sum(heights)), "white")
    pen, top = ImageDraw.Draw(sheet), 0
    for (heading, tiles), height in zip(rows, heights, strict=True):
        pen.text((4, top + 4), heading, fill="black")
        for place, (words, pixels) in enumerate(tiles):
            x, y = place % COLUMNS * (TILE + 4), top + 20 + place // COLUMNS * deep
            sheet.paste(Image.fromarray(pixels).resize((TILE, TILE), Image.Resampling.NEAREST), (x, y))
            pen.text((x + 2, y + TILE + 1), words[:48], fill="black")
        top += height
    return sheet


def tiles(dials: Sequence[Dial], what: str, per_mm: float) -> list[tuple[str, Bytes]]:
    """Captions and tiles of those dials that have such a place."""
    found = []
    for dial in dials:
        cut = tile(dial, what, per_mm)
        if cut is not None:
            found.append((f"{dial.name} {KINDS[dial.hand]}, {dial.resolved / RADIUS_MM:.0f} px/mm", cut))
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the sheets; exit status 1 where something cannot be read or written."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials realism/sheets", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    add_flags(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="outside the project")
    parser.add_argument("--each", type=int, default=18, metavar="N", help="dials of each kind (default: 18)")
    args = parser.parse_args(arguments)
    one_thread()
    try:
        outside(args.out).mkdir(parents=True, exist_ok=True)
        scope = scope_of(args.words)
        real = real_dials(args.lists, args.photos)[0]
        for per_mm in BESIDE:
            fine = [dial for dial in real if dial.resolved >= RESOLVED * per_mm * RADIUS_MM]
            fine = sorted(fine, key=lambda dial: -dial.hand)[: args.each]
            like = [dial.resolved for dial in fine]
            drawn = list(drawn_dials(args.each, like, scope, seed=args.seed)) if like else []
            for what in SPOTS:
                rows = [("real", tiles(fine, what, per_mm)), ("drawn", tiles(drawn, what, per_mm))]
                board(rows).save(args.out / f"{per_mm:.0f}-{what}.png")
        for per_mm in ALONE:
            close = [close_tile(index, per_mm, scope, args.seed) for index in range(args.each)]
            board([(f"drawn, {per_mm:.0f} px/mm", close)]).save(args.out / f"{per_mm:.0f}.png")
    except (DialtellError, OSError) as error:
        return reported("sheets", error)
    print(f"{len(list(args.out.glob('*.png')))} sheets in {args.out}", file=sys.stderr)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
