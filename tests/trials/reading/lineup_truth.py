"""Is an odd stroke among like ones ranked first, and do painted line-ups differ more than printed ones?

    python tests/trials reading/lineup_truth --count 60 [--scales 15,30,60] [--out FILE.json]

Odd ones of known truth are laid on drawn prints: a figure, a five-minute mark or a tick by a hand, or a stroke of one
faded to 0.45 of its density. The line-ups are made of the photograph with its outline known to 0.25 % of the radius.
Of each it is said how much of it the camera left: the same print is photographed without it, and once more with other
noise. What lies below the noise nobody can rank first; both shares are told, of all and of those above it. With
--perfect all are photographed without noise in even light: what is missed there a print's own differences hide.
Then twins, the same dial by a hand and printed: the median excess of each dial's line-ups over the floor.
"""

from __future__ import annotations

import argparse
import copy
import json
import signal
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from dialtell.evaluate.lineups.gathering import LineUps, line_ups
from dialtell.evaluate.lineups.line_up import CALM, IN_BLURS, LineUp
from dialtell.evaluate.measurements.sheet import lay_flat
from dialtell.synth.camera.camera import expose
from dialtell.synth.design.layout import lay_out
from dialtell.synth.making import Coat, make
from dialtell.synth.photograph.view import homography
from dialtell.synth.planting import FADED_TO, split_coats
from dialtell.synth.scene import DialSpec, Range, photograph, radiance, sample_spec
from dialtell.synth.shared.terms import Process, Zone
from dialtell.synth.shared.workers import in_order
from dialtell.synth.strokes.paint import Paint, join, mask
from dialtell.synth.strokes.stroke import Item
from dialtell.train.bags.bags import read_spec
from dialtell.train.stats.discrimination import auc, bootstrap_auc
from dialtell.train.stats.proportion import wilson

SEED = 7_190_003
KINDS = ("figure by a hand", "five-minute mark by a hand", "tick by a hand", "faded five-minute mark", "faded tick")
SHARP = 20.0  # px/mm resolved, from which a photograph of 30 px/mm is told apart as a sharp one
WHERE = dict(zip(KINDS, ("figures", "five-minute marks", "ticks", "five-minute marks", "ticks"), strict=True))
SCALE = 30.0  # px/mm of the odd ones
COVERED = 0.15  # mean share of a stroke's pixels that is planted paint, from which it counts as the odd one
SIZES = (14.0, 32.0)  # mm, dial radii: a clock at 30 px/mm would be too large a picture
ZONES = (Zone.SIGNATURE, Zone.NUMERALS, Zone.MINUTE_TRACK, Zone.SECONDS_BIT)


@dataclass(frozen=True)
class Odd:
    """One odd one planted. lined : whether it stands in a line-up of four and more. first : whether the first in rank
    is of the odd figure. members, own : strokes of the line-up, and those of the odd figure among them. named :
    whether it was named as standing out; others : how many others were. resolved : px/mm that the photograph resolves.
    over : RMS of what the plant changes in the photograph, over that of its noise; 0 where it is not lined up.
    """

    index: int
    kind: str
    lined: bool
    first: bool = False
    members: int = 0
    own: int = 0
    named: bool = False
    others: int = 0
    resolved: float = 0.0
    over: float = 0.0


@dataclass(frozen=True)
class Twin:
    """Line-ups of one dial. excess : by zone and of "all", median over strokes, then over line-ups; times : likewise of
    times the floor."""

    index: int
    hand: bool
    scale: float
    excess: dict[str, float]
    times: dict[str, float]


def spec_at(index: int, scale: float, wear: float, finished: float) -> DialSpec | None:
    """A drawn dial at `scale` px/mm, None for one too small or too large. wear : its most, 0..1. finished : share of
    photographs with the optics and the finishing of real ones."""
    radius = sample_spec(SEED, index).design.radius_mm
    if not SIZES[0] <= radius <= SIZES[1]:
        return None
    size = radius * scale
    scope = Range(
        pixels_per_radius=(size, size),
        max_side=int(2.5 * size),
        tilt=12.0,
        wear=(0.0, wear),
        hands_off=1.0,
        finished=finished,
    )
    return sample_spec(SEED, index, scope)


def perfected(spec: DialSpec) -> DialSpec:
    """The same dial in even light by a camera that only blurs a little."""
    camera = replace(
        spec.camera, sigma_px=0.8, defocus_px=0.0, motion_px=0, focus_px=0.0, fringe_px=0.0, flare=0.0, white_level=0.9,
        shot=0.0, read=0.0, chroma=0.0, resolution=1.0, denoise=0.0, contrast=0.0, sharpen=0.0, retouch=0.0,
        jpeg_before=(), jpeg_after=(), screen_px=0.0, rescan_px=0.0, mottle=0.0,
    )  # fmt: skip
    light = replace(
        spec.light, glare=0.0, window=0.0, haze=0.0, vignette=0.0, falloff=0.0, sun=None, scratches=None, glass=None
    )
    return replace(spec, camera=camera, light=light)


def planted(
    spec: DialSpec, kind: str, rng: np.random.Generator
) -> tuple[NDArray[np.uint8], NDArray[np.float32]] | None:
    """The picture of a printed dial with one odd one, and the share of each pixel that is of it; None where its design
    has none of the kind."""
    spec = spec.as_process(Process.TRANSFER)
    items = lay_out(spec.design)
    if kind.startswith("figure"):
        words = sorted({item.word for item in items if item.zone is Zone.NUMERALS})
        if not words or spec.design.chapter is None:
            return None
        word = words[int(rng.integers(len(words)))]

        def chosen(item: Item) -> bool:
            return item.zone is Zone.NUMERALS and item.word == word
    else:
        heavy = "mark" in kind
        fit = [
            item for item in items
            if item.zone is Zone.MINUTE_TRACK and item.group.startswith("track/")
            and not item.group.startswith("track/half") and (item.group != "track/minor") == heavy
        ]  # fmt: skip
        if len(fit) < 8:
            return None
        one = fit[int(rng.integers(len(fit)))]

        def chosen(item: Item) -> bool:
            return item is one

    if "faded" in kind:
        coats, own = _faded(spec, items, chosen)
    else:
        coats = split_coats(spec, chosen, Process.TRANSFER, Process.HAND)
        own = coats[-1].paint
    cover = mask(own, homography(spec.view), spec.view.shape)
    return None if cover.max(initial=0.0) < 0.2 else (photograph(spec, coats), np.asarray(cover, np.float32))


def _faded(spec: DialSpec, items: list[Item], chosen: Callable[[Item], bool]) -> tuple[list[Coat], Paint]:
    (coat,) = make(spec.design, spec.making)
    owner = np.repeat(np.arange(len(items)), [len(item.strokes) for item in items])
    number = [k for k, item in enumerate(items) if chosen(item)]
    own = np.isin(owner[np.clip(coat.paint.stroke, 0, len(owner) - 1)], number)
    faint = coat.paint.select(own)
    faint = replace(faint, density=faint.density * FADED_TO)
    return [replace(coat, paint=join([faint, coat.paint.select(~own)]))], faint


def odd_at(spec: DialSpec, index: int, kind: str) -> list[Odd]:
    """What the line-ups say of one odd one: one row for each line-up it stands in."""
    rng = np.random.default_rng([SEED, index, KINDS.index(kind)])
    made = planted(spec, kind, rng)
    if made is None:
        return []
    pixels, cover = made
    again = copy.deepcopy(rng)  # the outline is found alike in all photographs of the dial
    reading = read_spec(spec, pixels, rng=rng)
    ups = line_ups(lay_flat(reading))
    bare = Bare(spec, again)
    resolved = reading.sharpness.true_pixels_per_radius / spec.design.radius_mm
    rows = []
    for group in ups.groups:
        own = members_of(ups, group, cover)
        if WHERE[kind] in group.what and len(group.times) >= 4 and own.any() and not own.all():
            odd, first = group.odd, bool(own[group.ranked[0]])
            named, others = bool(own[odd].any()), int((~own[odd]).sum())
            over = bare.over(ups, group, own)
            rows.append(Odd(index, kind, True, first, len(own), int(own.sum()), named, others, resolved, over))
    return rows or [Odd(index, kind, False, resolved=resolved)]


class Bare:
    """The print without its odd one, and its noise."""

    def __init__(self, spec: DialSpec, rng: np.random.Generator) -> None:
        """rng : as it stands where the outline of the photograph with the odd one is found."""
        spec = spec.as_process(Process.TRANSFER)
        camera, plain = spec.camera, replace(spec.camera, retouch=0.0)  # whose curve comes of the seed as noise does
        light = radiance(spec)
        pictures = [expose(one, light) for one in (camera, plain, replace(plain, seed=plain.seed + 1))]
        self.without, *self.noisy = (lay_flat(read_spec(spec, one, rng=copy.deepcopy(rng))) for one in pictures)

    def over(self, ups: LineUps, group: LineUp, own: NDArray[np.bool_]) -> float:
        """RMS of what the odd ones of a line-up change over that of noise, smoothed as the line-up is; of the one that
        shows most."""
        sheet, shape = ups.field.sheet, group.mean.shape
        calm = max(CALM, IN_BLURS * sheet.blur / group.step)
        shares = []
        for k in np.flatnonzero(own):
            grid = group.cuts[k].grid((shape[0], shape[1]), group.step, group.fits[k])
            pairs = (sheet.sample(grid) - self.without.sample(grid), np.subtract(*(n.sample(grid) for n in self.noisy)))
            seen, noise = (cv2.GaussianBlur(one, (0, 0), calm)[group.support] for one in pairs)
            shares.append(float(np.sqrt(2.0 * (seen**2).mean() / max(float((noise**2).mean()), 1e-12))))
        return max(shares)


def members_of(ups: LineUps, group: LineUp, cover: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which strokes of a line-up are planted. cover : (H, W) of the photograph."""
    sheet, (rows, columns) = ups.field.sheet, group.mean.shape
    scale = sheet.photo.shape[1] / cover.shape[1]
    ink = group.support & (group.mean < 1.0 - 0.5 * (1.0 - float(group.mean[group.support].min(initial=1.0))))
    out = []
    for cut, fit in zip(group.cuts, group.fits, strict=True):
        at = (sheet.to_photo(cut.grid((rows, columns), group.step, fit)[ink]) / scale).astype(int)
        row, column = np.clip(at[:, 1], 0, cover.shape[0] - 1), np.clip(at[:, 0], 0, cover.shape[1] - 1)
        out.append(len(at) > 0 and float(cover[row, column].mean()) > COVERED)
    return np.array(out)


def twin_at(index: int, scale: float, wear: float, finished: float) -> list[Twin]:
    """The same dial by a hand and printed, the print as its making draws it."""
    spec = spec_at(index, scale, wear, finished)
    found = []
    if spec is None:
        return []
    for hand in (True, False):
        one = spec.as_process(Process.HAND if hand else Process.TRANSFER)
        pixels = photograph(one, make(one.design, one.making))
        ups = line_ups(lay_flat(read_spec(one, pixels, rng=np.random.default_rng(index))))
        excess, times = {}, {}
        for zone in (*ZONES, None):
            groups = [g for g in ups.groups if (zone is None or g.zone is zone) and len(g.times) >= 3]
            if groups:
                key = "all" if zone is None else zone.value
                excess[key] = float(np.median([np.median(g.excess) for g in groups]))
                times[key] = float(np.median([np.median(g.times) for g in groups]))
        found.append(Twin(index, hand, scale, excess, times))
    return found


def _work(task: tuple[str, int, float, float, float, bool]) -> Sequence[Odd | Twin]:
    kind, index, scale, wear, finished, perfect = task
    if kind == "twin":
        return twin_at(index, scale, wear, finished)
    spec = spec_at(index, scale, wear, finished)
    return [] if spec is None else odd_at(perfected(spec) if perfect else spec, index, kind)


def report(odds: Sequence[Odd], twins: Sequence[Twin]) -> list[str]:
    """The table."""
    lines = []
    for kind in ("", *KINDS):
        for least, above in ((0.0, 0.0), (0.0, 1.0), (SHARP, 0.0)):
            some = [row for row in odds if kind in ("", row.kind) and row.resolved >= least]
            some = [row for row in some if not row.lined or row.over >= above]
            lined = [row for row in some if row.lined]
            if not lined:
                continue
            hits, chance = sum(row.first for row in lined), np.mean([row.own / row.members for row in lined])
            low, high = wilson(hits, len(lined))
            dials, there = len({row.index for row in some}), len({row.index for row in lined})
            which = f"{least:.0f} px/mm and more seen" if least else "above the noise" if above else "all"
            lines.append(
                f"{kind or 'all kinds':26} {which:24} ranked first {hits} of "
                f"{len(lined)} = {hits / len(lined):.2f} ({low:.2f} to {high:.2f}), by chance {chance:.2f}; lined up "
                f"on {there} of {dials} dials; named {np.mean([row.named for row in lined]):.2f}, others named "
                f"{np.mean([row.others for row in lined]):.2f}"
            )
    for scale in sorted({row.scale for row in twins}):
        pair = [row for row in twins if row.scale == scale]
        for key in ("all", *(zone.value for zone in ZONES)):
            for name in ("excess", "times"):
                rows = [(row.hand, getattr(row, name)[key]) for row in pair if key in getattr(row, name)]
                hand = np.array([row[0] for row in rows], dtype=bool)
                if hand.sum() < 3 or (~hand).sum() < 3:
                    continue
                value = np.array([row[1] for row in rows])
                low, high = bootstrap_auc(hand, value, rng=np.random.default_rng(1))[1]
                middles = f"painted {np.median(value[hand]):.3f} printed {np.median(value[~hand]):.3f}"
                lines.append(
                    f"{scale:4.0f} px/mm {key:14} {name:6} AUC {auc(hand, value):.2f} ({low:.2f} to {high:.2f}), "
                    f"{middles}, n = {hand.sum()}, {(~hand).sum()}"
                )
    return lines


def main(arguments: Sequence[str]) -> int:
    """Plant, line up, print the table."""
    parser = argparse.ArgumentParser(prog="lineup_truth", description=__doc__)
    parser.add_argument("--count", type=int, default=60, help="designs tried for odd ones")
    parser.add_argument("--twins", type=int, default=40, help="designs tried as twins, at each scale")
    parser.add_argument("--first", type=int, default=0, help="first design")
    parser.add_argument("--scales", default="15,30,60", help="px/mm of the twins, with commas")
    parser.add_argument("--wear", type=float, default=0.0, help="most wear of the dials, 0..1")
    parser.add_argument("--finished", type=float, default=0.7, help="share of photographs finished as real ones are")
    parser.add_argument("--perfect", action="store_true", help="odd ones by a perfect camera in even light")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args(arguments)
    span = range(given.first, given.first + given.count)
    tasks = [(kind, index, SCALE, given.wear, given.finished, given.perfect) for index in span for kind in KINDS]
    scales = [float(scale) for scale in given.scales.split(",") if scale]
    tasks += [
        ("twin", given.first + k, scale, given.wear, given.finished, False)
        for k in range(given.twins)
        for scale in scales
    ]
    odds: list[Odd] = []
    twins: list[Twin] = []
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # ended early, it still tells
    try:
        for rows in tqdm(in_order(_work, tasks, given.workers), total=len(tasks), disable=None):
            odds += [row for row in rows if isinstance(row, Odd)]
            twins += [row for row in rows if isinstance(row, Twin)]
    finally:  # interrupted, what was done is told
        print("\n".join(report(odds, twins)))
        if given.out:
            content = {"odd": [asdict(row) for row in odds], "twins": [asdict(row) for row in twins]}
            given.out.write_text(json.dumps(content), "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
