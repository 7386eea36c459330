"""What the page shows of like strokes: line-ups zone by zone, tracks unrolled, thin against thick, the signature whole,
and each hour figure with its own share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.reference_dial import reference_dial
from dialtell.evaluate.lineups.figures import Figure, hour_figures
from dialtell.evaluate.lineups.gathering import LineUps, line_ups
from dialtell.evaluate.lineups.line_up import LineUp
from dialtell.evaluate.lineups.sprites import MOST_CELLS, Sprite, differences, enlarged, mean_stroke, strokes
from dialtell.evaluate.lineups.strip import Strip, unrolled
from dialtell.evaluate.lineups.thin_thick import ThinThick, thin_thick
from dialtell.evaluate.measurements.gathering import strokes_of
from dialtell.evaluate.measurements.sheet import lay_flat
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.words.plain import zone_heading
from dialtell.evaluate.words.support import listed, ratio_words
from dialtell.model.net.explanation import Explanation
from dialtell.model.reader.file import Reader
from dialtell.model.reading.geometry import patch_grid
from dialtell.model.reading.photo import Photo, display
from dialtell.model.reading.steps import Reading, read_at
from dialtell.synth.shared.terms import ZONES, Process, Zone

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

MOST_GROUPS = 4  # line-ups of a zone on the page, the largest
BESIDE = 8  # strokes of a drawn dial shown
LEAST_TIMES = 0.5  # times the grain, below which no stroke of a line-up shows anything of its own
ROUND, FILLED = 1.25, 0.87  # of a dot: length over breadth; share of its box, 0.79 of a disc and 1 of a bar
LEAST_SIGNATURE, MOST_LARGE = 60.0, 4.0  # px of the photograph across a signature shown whole; times it is enlarged
OTHER_SIZE = 1.5  # times as long, from which a drawn stroke is no like of those it would stand beside
UNDER_TENS = " Where figures stand under them, these differ as they ought to."
FRAMED = math.log10(1.05)  # log10, from which a figure is framed in the colour of its side
BY_DEGREES = 1.8  # times the middle one, from which the most unlike one is not said to be like the rest
FEW = 3  # strokes, up to which a line-up stands beside another
WORKERS = 2  # threads
DRAWN_SCALE = 440.0  # px per dial radius of a drawn dial at most
SIGNATURE_PX, ROOM = 1000, np.array([0.06, 0.02])  # px; dial radii about it, lettering may be found in part
PLOT = (640.0, 300.0)
LEFT, TOP, RIGHT, BOTTOM = 50.0, 32.0, 12.0, 44.0  # about the plot, px
BAR_MM, BAR_RADII = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0), (0.02, 0.05, 0.1, 0.2)
UNITS = {Zone.SECONDS_BIT: "s"}
DRAWN = (("Drawn: painted by hand", Process.HAND), ("Drawn: printed", Process.TRANSFER))


@dataclass(frozen=True, eq=False)
class LikeStrokes:
    """For the template. zones : one a zone, in the examiner's order. thin : the plot of thin against thick, None where
    too few strokes are traced. figures : hour figures. shared : whether they have shares. upright : whether they stand
    upright. coarse : whether the photograph is too coarse for thin strokes."""

    zones: tuple[dict[str, Any], ...]
    thin: dict[str, Any] | None
    figures: tuple[dict[str, Any], ...]
    shared: bool
    coarse: bool = False
    upright: bool = False

    @property
    def lined(self) -> bool:
        """Whether any line-up is shown."""
        return any(zone["groups"] for zone in self.zones)


def like_strokes(
    reading: Reading,
    photo: Photo,
    explanation: Explanation | None,
    diameter_mm: float | None,
    *,
    coarse: bool = False,
    reader: Reader | None = None,
) -> LikeStrokes:
    """All of it of one dial. diameter_mm : of the dial, None where no size is known. coarse : the photograph does not
    carry thin strokes. reader : for the drawn dials, None for the shipped one."""
    sheet, traced = strokes_of(reading)
    geometry = reading.geometry
    shows = reference_dial(reading).shows if reading.zones.named else frozenset()
    with ThreadPoolExecutor(WORKERS) as pool:  # most of it is OpenCV's and numpy's, which let others run
        own = pool.submit(line_ups, sheet)
        beside = [pool.submit(_drawn, reading, kind, sheet.grain, reader) for _, kind in DRAWN] if shows else []
        ups = own.result()
        drawn = [(title, *one.result()) for (title, _), one in zip(DRAWN, beside, strict=False)]
    zones = []
    for zone in ZONES:
        groups = [group for group in ups.groups if group.zone is zone]
        groups.sort(key=lambda group: -len(group.cuts) * group.mean.size)
        shown: list[dict[str, Any]] = []
        for group in groups[:MOST_GROUPS]:
            fresh = all(one["what"] != group.what for one in shown)  # a drawn dial beside the first of a kind is enough
            like = drawn if fresh and zone in shows else []
            shown.append(_group(group, ups, photo, reading, like))
        track = {Zone.MINUTE_TRACK: ups.track, Zone.SECONDS_BIT: ups.seconds}.get(zone)
        strip = None if track is None else _strip(unrolled(zone, track, sheet, photo, geometry), diameter_mm)
        whole = _signature(reading, photo, diameter_mm) if zone is Zone.SIGNATURE else None
        if shown or strip or whole:
            zones.append({"zone": zone.value, "groups": shown, "strip": strip, "whole": whole})
    thin = None if coarse else thin_thick(sheet, traced)
    figures = hour_figures(reading, photo, explanation, upright=ups.upright)
    return LikeStrokes(
        tuple(zones), None if thin is None else _plot(thin, diameter_mm), tuple(_figure(one) for one in figures),
        any(one.share is not None for one in figures), coarse, ups.upright,
    )  # fmt: skip


def _drawn(reading: Reading, process: Process, grain: float, reader: Reader | None) -> tuple[LineUps, Photo, Reading]:
    """A like dial drawn by a process, read as a photograph is; line-ups of the zones in which it is like."""
    reference = reference_dial(reading)
    sharp = max(reading.sharpness.true_pixels_per_radius, 60.0)
    scale = min(reading.geometry.pixels_per_radius, 1.3 * sharp, DRAWN_SCALE)
    photo, geometry = reference.photographed(process, scale, grain)
    like = read_at(photo, geometry, 0.0, reader)
    return line_ups(lay_flat(like), 1, reference.shows), photo, like


def _group(
    group: LineUp, ups: LineUps, photo: Photo, reading: Reading,
    drawn: Sequence[tuple[str, LineUps, Photo, Reading]],
) -> dict[str, Any]:  # fmt: skip
    chosen = list(range(len(group.cuts)))[:MOST_CELLS]
    picture = strokes(group, ups.field.sheet, photo, reading.geometry, chosen)
    odd = set(group.odd)
    beside = []
    for title, other, taken, like in drawn:
        same = [one for one in other.groups if one.zone is group.zone and one.what == group.what]
        twin = max(same, key=lambda one: len(one.cuts), default=None)
        if twin is not None and _as_long(group, ups, twin, other):
            some = list(np.unique(np.linspace(0, len(twin.cuts) - 1, min(BESIDE, len(twin.cuts))).astype(int)))
            beside.append(
                {
                    "title": title,
                    "says": f"they differ by {_short(float(np.median(twin.times)))} times what the grain would make",
                    "strokes": _sprite(strokes(twin, other.field.sheet, taken, like.geometry, some)),
                    "off": _sprite(differences(twin, some)),
                }
            )
    return {
        "title": f"{len(group.cuts)} {'dots' if group.what == 'ticks' and _round(group) else group.what}",
        "picture": picture,
        "what": group.what,
        "few": len(group.cuts) <= FEW,
        "hidden": bool(group.times.max() < LEAST_TIMES),
        "says": _sentence(group) + (UNDER_TENS if group.what.endswith("at the tens") else ""),
        "strokes": _sprite(picture),
        "off": _sprite(differences(group, chosen)),
        "mean": _sprite(mean_stroke(group)),
        "cells": [
            {"at": k, "name": _where(group, index), "times": _short(float(group.times[index])), "odd": index in odd}
            for k, index in enumerate(chosen)
        ],
        "beside": beside if len(beside) == len(drawn) else [],  # one kind alone would be no comparison
    }


def _round(group: LineUp) -> bool:
    """Whether the strokes of a line-up are dots: as broad as long, and round at the corners."""
    across, down, inked = _extent(group)
    return bool(inked and 1 / ROUND < across / down < ROUND and inked < FILLED * across * down)


def _extent(group: LineUp) -> tuple[int, int, int]:
    """Window px across and down between which the middle stroke is more than half as dark as anywhere, and how many
    are; 0 where there is none."""
    dark = 1.0 - group.mean
    rows, columns = np.nonzero((dark > 0.5 * dark.max()) & group.support)
    return (int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1, len(rows)) if len(rows) else (0, 0, 0)


def _as_long(group: LineUp, ups: LineUps, drawn: LineUp, others: LineUps) -> bool:
    """Whether drawn strokes are about as long as those they stand beside, in dial radii."""
    own, other = (
        max(_extent(one)[:2]) * one.step / of.field.sheet.scale for one, of in ((group, ups), (drawn, others))
    )
    return own < OTHER_SIZE * other and other < OTHER_SIZE * own


def _where(group: LineUp, index: int) -> str:
    """Where a stroke stands, in few letters."""
    name = group.cuts[index].name
    if not name:
        return f"{index + 1}"
    return f"at {name}" if group.zone is Zone.NUMERALS else f"{name} {UNITS.get(group.zone, 'min')}"


def _short(value: float) -> str:
    if value < 0.05:
        return "< 0.1"
    return f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _sentence(group: LineUp) -> str:
    """How much they differ, and which most."""
    low, middle, high = (_short(float(np.quantile(group.times, q))) for q in (0.0, 0.5, 1.0))
    if group.times.max() < LEAST_TIMES:
        return "The grain of the photograph hides whatever sets them apart."
    if len(group.cuts) == 2:
        return f"The two differ by {middle} times what the grain would make."
    text = (
        f"They differ by {middle} times what the grain would make; the most like {low}, the most unlike {high} times."
    )
    if group.odd:
        named = ", ".join(_where(group, index) for index in group.odd[:4])
        return f"{text} Standing out from the rest: {named}."
    if len(group.cuts) < 4:
        return text
    if group.times.max() > BY_DEGREES * np.median(group.times):
        most = listed([_where(group, int(index)) for index in group.ranked[:3]])
        return f"{text} None stands out by itself; the most unlike are {most}."
    return f"{text} None stands out from the rest."


def _sprite(sprite: Sprite) -> dict[str, Any]:
    return {
        "uri": pictures.jpeg_uri(sprite.image, 86), "width": sprite.width, "height": sprite.height,
        "count": sprite.count,
    }  # fmt: skip


def _strip(strip: Strip, diameter_mm: float | None) -> dict[str, Any]:
    """Four quarters, each with the lines of its rings under it."""
    rows = []
    for number, quarter in enumerate(strip.quarters):
        first = number * math.pi / 2
        lines = {"width": [], "black": []}  # type: dict[str, list[str]]
        for course in strip.courses:
            here = (course.turn >= first) & (course.turn < first + math.pi / 2)
            if here.sum() < 3:
                continue
            along = 100 * (course.turn[here] - first) / (math.pi / 2)
            for name, level in (("black", 11.0), ("width", 31.0)):
                values = getattr(course, name)[here]
                lines[name].append(_line(along, level - 16 * np.clip(values - 1.0, -0.55, 0.55)))
        rows.append(
            {
                "uri": pictures.jpeg_uri(quarter, 86), "width": quarter.shape[1], "height": quarter.shape[0],
                "from": f"{15 * number or 60}", "to": f"{15 * (number + 1)}", "lines": lines,
            }
        )  # fmt: skip
    unit = "mm" if diameter_mm else "of the dial’s radius"
    size = 0.5 * diameter_mm if diameter_mm else 1.0
    widths = listed(list(dict.fromkeys(f"{course.typical * size:.3f}" for course in strip.courses)) or [""])
    said = UNITS.get(strip.zone, "min")
    return {"rows": rows, "rings": len(strip.courses), "widths": f"{widths} {unit}", "unit": said}


def _line(x: Floats, y: Floats) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))


def _signature(reading: Reading, photo: Photo, diameter_mm: float | None) -> dict[str, Any] | None:
    """The signature whole, with a scale."""
    if not reading.zones.named:
        return None
    corners = reading.zones.polygon(Zone.SIGNATURE)
    if len(corners) < 3:
        return None
    low, high = corners.min(axis=0) - ROOM, corners.max(axis=0) + ROOM
    across = float(high[0] - low[0]) * reading.geometry.pixels_per_radius
    if across < LEAST_SIGNATURE:
        return None
    width = min(SIGNATURE_PX, round(max(across * 2.0, 240)))
    scale = width / float(high[0] - low[0])
    rows = max(round(float(high[1] - low[1]) * scale), 8)
    middle = 0.5 * (low + high)
    grid = patch_grid(reading.geometry, (float(middle[0]), float(middle[1])), (1.0, 0.0), (rows, width), scale)
    wide = float(high[0] - low[0])
    size, sizes = (0.5 * diameter_mm, BAR_MM) if diameter_mm else (1.0, BAR_RADII)
    bar = max((one for one in sizes if one <= 0.3 * wide * size), default=sizes[0])
    words = f"{bar:g} mm" if diameter_mm else f"{bar:g} of the dial’s radius"
    return {
        "uri": pictures.jpeg_uri(display(enlarged(photo.pixels, grid)), 88), "width": width, "height": rows,
        "bar": round(100 * bar / (wide * size), 2), "bar_words": words, "most": round(MOST_LARGE * across),
    }  # fmt: skip


def _plot(thin: ThinThick, diameter_mm: float | None) -> dict[str, Any]:
    """Dots, band and axes in px of the plot."""
    widest = float(thin.at[-1])
    size, unit = (0.5 * diameter_mm, "mm") if diameter_mm else (1.0, "of the dial’s radius")

    def place(width: Floats, black: Floats) -> tuple[Floats, Floats]:
        x = LEFT + np.clip(width / widest, 0.0, 1.0) * (PLOT[0] - LEFT - RIGHT)
        y = PLOT[1] - BOTTOM - np.clip(black, 0.0, 1.1) / 1.1 * (PLOT[1] - TOP - BOTTOM)
        return x, y

    there, back = place(thin.at, thin.high), place(thin.at[::-1], thin.low[::-1])
    x, y = place(thin.width, thin.black)
    step = 10 ** math.floor(math.log10(widest * size))
    step = next(s for s in (step, step / 2, step / 5) if widest * size / s >= 3)
    ticks = [k * step for k in range(int(widest * size / step) + 1)]
    thin_left, broad_left = thin.left
    return {
        "band": f"{_line(*there)} {_line(*back)}",
        "dots": [
            {"x": f"{a:.1f}", "y": f"{b:.1f}", "zone": int(zone)} for a, b, zone in zip(x, y, thin.zone, strict=True)
        ],
        "across": [(f"{float(place(np.array(t / size), np.zeros(1))[0]):.1f}", f"{t:g}") for t in ticks],
        "up": [(f"{float(place(np.zeros(1), np.array([b]))[1][0]):.1f}", f"{b:.0%}") for b in (0.0, 0.5, 1.0)],
        "unit": unit,
        "zones": [(int(k), zone_heading(ZONES[k].value)) for k in np.unique(thin.zone)],
        "says": f"Of the {len(thin.width)} strokes the thinner half is {_as_black(thin_left)} as blur alone would "
        f"leave it, the broader half {_as_black(broad_left)}.",
    }


def _as_black(share: float) -> str:
    """How black strokes are beside what blur alone would leave; that is not known finely enough to be surpassed."""
    return f"{share:.0%} as black" if share < 0.995 else "as black"


def _figure(figure: Figure) -> dict[str, Any]:
    share = figure.share
    times = "" if share is None else f"{'hand' if share > 0 else 'print'} {_times(share)}"
    return {
        "hour": figure.hour, "uri": pictures.jpeg_uri(figure.picture, 86), "side": figure.picture.shape[0],
        "share": times or None,
        "style": "open" if share is None or abs(share) < FRAMED else "hand" if share > 0 else "print",
    }  # fmt: skip


def _times(log10: float) -> str:
    """What a figure does to the odds, so finely that all of them multiply to what the numerals weigh."""
    factor = 10.0 ** abs(log10)
    return f"×{factor:.2f}" if factor < 1.95 else f"×{ratio_words(log10)}"
