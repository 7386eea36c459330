"""The bound: what a reader taught on nothing else could tell at each resolution and steadiness of the hand.

    python tests/trials training/bound --out DIR --factors 1,0.5,0.25 --views dial,near,microscope --minutes 2
    python tests/trials training/bound --out DIR --join ONE/bound.json OTHER/bound.json

Where even such a net finds nothing, a call would be a guess. Every hand's deviations are multiplied by the factor, the
camera is clean, no watch hand covers anything, wear is slight; outline and scale are known. Prints stay as they are:
where a plate is cut less evenly than the hand paints, that tells too (`--range scatter=0,0.3` for even plates). A net
is taught for each factor and view, beginning with the one of the factor before (the first with `--start`), and asked
about fresh pictures, each once painted and once printed, by bands of the px/mm they truly resolve.

A view says how finely patches are cut: `dial` as the product cuts them, 29 px/mm on an 18 size dial, of whole dials and
by zone; `near` twice and `microscope` four times as finely, of close-ups half and a quarter of the dial across, whose
strokes are one zone. bound.json in DIR is written anew after each net, so that a run cut off still tells; bound.png
has for each factor a line of whole dials and one of single fields, those from the finest view that reaches a band.

On an H200 with 15 cores an epoch (400 steps, 400 pictures twice) takes some 13 s: 6 epochs and 600 fresh pictures
2 minutes for each factor and view.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from copy import deepcopy
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from trials.training.renderers import boxed, narrowed

from dialtell.model.reading.close_up import unnamed_geometry
from dialtell.model.reading.patches import RESOLUTIONS, SCALE
from dialtell.model.reading.steps import read_unnamed
from dialtell.synth.camera.camera import CameraSpec
from dialtell.synth.design.design import Variety, sample_design
from dialtell.synth.photograph.body import Surface, paint_body
from dialtell.synth.scene import DialSpec, Range, generator, photograph, printed_process, sample_spec
from dialtell.synth.shared.errors import DialtellError, ParameterError, require_range
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.train.bags.bags import FEWEST_PATCHES, Bag, bag_of, known_geometry, photo_of, reading_rng, whole_bag
from dialtell.train.bags.supply import Supply, collect_twins

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from dialtell.model.net.net import StrokeNet

log = logging.getLogger("dialtell.train")

SCHEMA = "dialtell.bound/1"
BANDS = ((6, 9), (9, 13), (13, 19), (19, 27), (27, 40), (40, 70), (70, 120))  # true px/mm
FRESH_SEED = 9_300_017  # of the pictures asked about, which nothing trains on
RESOLUTION_STREAM = 87
MOST_PATCHES = 112  # of a close-up, whose strokes are one zone
FEWEST = 8  # of a kind in a band, below which there is no figure
SHORT = {"epochs": 6, "steps": 400, "pairs": 400, "validation": 120}
SIZE = (6.4, 5.2)
# a clean camera and nothing but the hand's factor; fields that a tree lacks are passed over
CLEAN = Range(wear=(0.0, 0.1), hands_off=1.0, tilt=8.0, variety=Variety().without("clock"))
PLAIN = ("finished=0", "mastered=0")
# what a good camera on a stand leaves out, and the most it leaves in
NONE = ("defocus_px", "motion_px", "focus_px", "denoise", "screen_px", "mottle", "retouch", "sharpen")
MOST = {"sigma_px": 0.7, "shot": 0.01, "read": 0.004, "white_level": 0.95}
LEAST_QUALITY = 90  # of JPEG
Draw = Callable[[int, int, Range, "View"], Any]


@dataclass(frozen=True)
class View:
    """How finely patches are cut, in times the product's fineness, and px/mm that are drawn, log-uniformly."""

    name: str
    finer: int
    px_per_mm: tuple[float, float]
    most: int = 1400  # px of the frame's longer side


VIEWS = (
    View("dial", 1, (6.5, 31.0)),
    View("near", 2, (20.0, 80.0)),
    View("microscope", 4, (45.0, 165.0)),
)


# --- pictures; no torch up to here: processes that draw import this file ---


def placed(seed: int, index: int, scope: Range, view: View) -> DialSpec:
    """Picture `index` of a set, at a resolution of the view; a close-up is two patch-radii across."""
    low, high = np.log(view.px_per_mm)
    per_mm = float(np.exp(np.random.default_rng([seed, index, RESOLUTION_STREAM]).uniform(low, high)))
    across = per_mm * _radius(seed, index, scope)
    side = view.most if view.finer == 1 else min(view.most, round(2 * across / view.finer))
    part = 0.0 if view.finer == 1 else 1.0
    own = replace(scope, pixels_per_radius=(across, across), max_side=side, part=part)
    spec = sample_spec(seed, index, own, Process.HAND)
    return replace(spec, camera=cleaned(spec.camera))


def cleaned(camera: CameraSpec) -> CameraSpec:
    """The same photograph taken in focus, steadily, and kept as it is."""
    held: dict[str, Any] = {name: type(getattr(camera, name))(0) for name in NONE if hasattr(camera, name)}
    held |= {name: min(getattr(camera, name), most) for name, most in MOST.items() if hasattr(camera, name)}
    after = tuple(max(quality, LEAST_QUALITY) for quality in camera.jpeg_after)
    return replace(camera, **held, resolution=1.0, jpeg_before=(), jpeg_after=after)


def _radius(seed: int, index: int, scope: Range) -> float:
    return sample_design(rng=generator(seed, index), variety=scope.variety).radius_mm


def seen(spec: DialSpec, view: View, surface: Surface | None = None) -> Bag | None:
    """A picture drawn and read, its patches as fine as the view's; None where too little can be read.

    The resolution of the bag is that of the patches, whatever their fineness.
    """
    if view.finer == 1:
        return bag_of(spec, surface)
    rng = reading_rng(spec)
    pixels = photograph(spec, surface=surface)
    # a dial of a part of its size: patches then span that part
    across = known_geometry(spec, rng=rng, jitter=0.0).pixels_per_radius / view.finer
    reading = read_unnamed(photo_of(pixels), unnamed_geometry(pixels.shape[:2], across))
    if len(reading.patches) < FEWEST_PATCHES:
        return None
    bag = whole_bag(spec, reading)
    chosen = np.sort(rng.permutation(len(bag.zone))[:MOST_PATCHES])
    hand = np.full(len(ZONES), -1, dtype=np.int8)
    hand[ZONES.index(Zone.OTHER)] = bag.dial
    return replace(bag, density=bag.density[chosen], zone=bag.zone[chosen], scale=bag.scales[chosen], hand=hand)


def _printed(seed: int, index: int) -> Process:
    return printed_process(np.random.default_rng([seed, index, 78]))


def pair(seed: int, index: int, scope: Range, view: View) -> list[Bag]:
    """One picture painted and printed; nothing where either cannot be read."""
    spec = placed(seed, index, scope, view)
    bare = paint_body(spec.body, spec.view)
    kept = bare._replace(reflectance=bare.reflectance.copy())
    found = [seen(spec, view, bare), seen(spec.as_process(_printed(seed, index)), view, kept)]
    bags = [bag for bag in found if bag is not None]
    return bags if len(bags) == 2 else []


def single(seed: int, index: int, scope: Range, view: View) -> Bag | None:
    """One picture, painted where the index is even."""
    spec = placed(seed, index, scope, view)
    return seen(spec if index % 2 == 0 else spec.as_process(_printed(seed, index)), view)


class BoundSupply(Supply):
    """Worker processes that draw for one view at a time."""

    view: View = VIEWS[0]

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """Start drawing pairs first .. first + count."""
        return [self._pool.submit(pair, seed, index, scope, self.view) for index in range(first, first + count)]

    def order_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        """Start drawing `count` pictures of a held-out set."""
        return [self._pool.submit(single, seed, index, scope, self.view) for index in range(count)]


# --- nets ---


def taught(
    supply: BoundSupply, scope: Range, view: View, start: StrokeNet | None, args: argparse.Namespace
) -> StrokeNet:
    """A net that has seen nothing but such pictures since `start`, its checkpoints in a folder below --out."""
    from dialtell.model.net.net import StrokeNet
    from dialtell.train.run.config import TrainConfig, preset
    from dialtell.train.study.side_by_side import Member, Study

    @dataclass(frozen=True)
    class Begun(Member):
        """A net that begins as another ended."""

        def net(self, config: TrainConfig) -> StrokeNet:
            return StrokeNet(config.net) if start is None else deepcopy(start)

    supply.view = view
    numbers = {name: getattr(args, name) for name in SHORT}
    if args.preset == "full":
        numbers = {name: SHORT[name] if value is None else value for name, value in numbers.items()}
    config = replace(preset(args.preset, seed=args.seed, device=args.device, **numbers), scope=scope)
    if start is not None:
        config = replace(config, net=start.config)
    study = Study(config, [Begun("strokes", "strokes")], args.out / f"{view.name}-{scope.jitter:g}")
    study.begin()
    boxed(study, supply, None if args.minutes is None else 60.0 * args.minutes, held_out=False)
    net = study.trainers["strokes"].average
    assert isinstance(net, StrokeNet)
    return net


def asked(net: StrokeNet, supply: BoundSupply, scope: Range, view: View, count: int) -> list[dict[str, Any]]:
    """Figures of fresh pictures, by band and zone."""
    import torch

    from dialtell.train.run.loop import evaluate_bags

    supply.view = view
    bags = [bag for both in collect_twins(supply.order_twins(FRESH_SEED, 0, count, scope)) for bag in both]
    if not bags:
        return []
    device: torch.device = next(net.parameters()).device
    outputs = evaluate_bags(net, bags, device)
    per_mm = np.array([true_px_per_mm(bag, scope, view) for bag in bags])
    painted = np.array([bag.dial == 1 for bag in bags])
    picture = np.array([bag.index for bag in bags])
    logits: dict[str, NDArray[np.float64]] = {"whole": np.concatenate([o.dial.cpu().numpy() for o in outputs])}
    zones = np.concatenate([o.zone.cpu().numpy() for o in outputs]).astype(np.float64)
    present = np.concatenate([o.present.cpu().numpy() for o in outputs]) & np.array([bag.hand >= 0 for bag in bags])
    for index, zone in enumerate(ZONES if view.finer == 1 else ()):
        logits[zone.value] = np.where(present[:, index], zones[:, index], np.nan)
    rows = []
    for zone_name, values in logits.items():
        for band in BANDS:
            own = (per_mm >= band[0]) & (per_mm < band[1]) & np.isfinite(values)
            row = figures(painted[own], values[own].astype(np.float64), picture[own])
            if row is not None:
                about = {"factor": scope.jitter, "view": view.name, "zone": zone_name, "px_per_mm": list(band)}
                rows.append(about | row)
    return rows


def true_px_per_mm(bag: Bag, scope: Range, view: View) -> float:
    """What a fresh picture truly resolves, as the reading measures it; nan where it shows too few edges."""
    if bag.resolution <= RESOLUTIONS[0]:
        return float("nan")
    return float(2.0**bag.resolution * SCALE * view.finer / _radius(FRESH_SEED, bag.index, scope))


def figures(
    painted: NDArray[np.bool_], logits: NDArray[np.float64], pictures: NDArray[np.int64]
) -> dict[str, Any] | None:
    """AUC with its interval over pictures, and the share of painted ones that score above 19 of 20 printed; None where
    there are too few of a kind."""
    from dialtell.train.stats.clustered import clustered_auc, clustered_share

    if min(painted.sum(), (~painted).sum()) < FEWEST:
        return None
    area = clustered_auc(painted, logits, pictures, rng=np.random.default_rng(1))
    above = logits[painted] > np.quantile(logits[~painted], 0.95)
    told = clustered_share(above, pictures[painted])
    ends = [(figure.interval or (0.0, 1.0)) for figure in (area, told)]
    return {
        "auc": round(area.value, 4), "low": round(ends[0][0], 4), "high": round(ends[0][1], 4),
        "told": round(told.value, 4), "told_low": round(ends[1][0], 4), "told_high": round(ends[1][1], 4),
        "painted": int(painted.sum()), "printed": int((~painted).sum()), "pictures": len(np.unique(pictures)),
    }  # fmt: skip


# --- what comes of it ---


def finest(rows: Iterable[Mapping[str, Any]]) -> dict[tuple[float, bool], list[Mapping[str, Any]]]:
    """By factor, and whether of a whole dial or of one field: the whole picture's row of each band, coarse to fine.

    Of a field the finest view there is. A whole dial shows many times the strokes of a field: the two are no one line.
    """
    order = [view.name for view in VIEWS]
    best: dict[tuple[float, bool, float], Mapping[str, Any]] = {}
    for row in sorted(rows, key=lambda row: order.index(row["view"])):
        if row["zone"] == "whole":
            best[row["factor"], row["view"] == order[0], row["px_per_mm"][0]] = row
    found: dict[tuple[float, bool], list[Mapping[str, Any]]] = {}
    for factor, dial, low in sorted(best, key=lambda key: (-key[0], not key[1], key[2])):
        found.setdefault((factor, dial), []).append(best[factor, dial, low])
    return found


def plot(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """PNG: AUC against px/mm, for each factor a line of whole dials and one of single fields."""
    from dialtell.evaluate.plots.style import drawn

    title = "how often a steady hand can be told from print, by px/mm"
    return drawn(partial(_draw, lines=finest(rows)), SIZE, title=title)


def _draw(axes: Axes, lines: Mapping[tuple[float, bool], Sequence[Mapping[str, Any]]]) -> None:
    from dialtell.evaluate.plots.style import SOFT, line_look, mark_look

    factors = sorted({factor for factor, _ in lines}, reverse=True)
    for (factor, dial), rows in lines.items():
        number = factors.index(factor)
        look = mark_look(number) | line_look(number) | {"linestyle": "-" if dial else ":"}
        x = np.array([np.sqrt(row["px_per_mm"][0] * row["px_per_mm"][1]) for row in rows])
        value, low, high = np.array([[row["auc"], row["low"], row["high"]] for row in rows]).T
        shown = "a whole dial" if dial else "one field"
        axes.plot(x, value, label=f"{shown}, hand's deviations times {factor:g}", **look)
        axes.fill_between(x, low, high, color=look["color"], alpha=0.1, linewidth=0)
    axes.set_xscale("log")
    ticks = [BANDS[0][0], *(high for _, high in BANDS)]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.axhline(0.5, color=SOFT, linewidth=0.8)
    axes.set_ylim(0.35, 1.02)
    axes.set_xlabel("px/mm that the photograph truly resolves")
    axes.set_ylabel("how often the painted one of two is picked (AUC, 95 % band)")


def text(rows: Sequence[Mapping[str, Any]]) -> str:
    """The rows for a terminal."""
    lines = [f"{'factor':<8}{'view':<12}{'zone':<14}{'px/mm':<9}AUC"]
    for row in rows:
        low, high = row["px_per_mm"]
        lines.append(
            f"{row['factor']:<8g}{row['view']:<12}{row['zone']:<14}{f'{low}-{high}':<9}{row['auc']:.3f} "
            f"({row['low']:.3f} to {row['high']:.3f}), told {row['told']:.0%}; {row['pictures']} pictures"
        )
    return "\n".join(lines)


def keep(folder: Path, rows: Sequence[Mapping[str, Any]], about: Mapping[str, Any]) -> None:
    """bound.json, whole, in place of the one before."""
    record = {"schema": SCHEMA, **about, "rows": list(rows)}
    write_text(folder / "bound.json", json.dumps(record, indent=1, allow_nan=False) + "\n", overwrite=True)


def rows_in(path: Path) -> list[dict[str, Any]]:
    """Rows of a bound.json; ParameterError where it is none."""
    try:
        record = json.loads(path.read_text("utf-8"))
        if record["schema"] != SCHEMA:
            raise ValueError(f"its schema is {record['schema']}")
        return list(record["rows"])
    except (OSError, ValueError, LookupError, TypeError) as error:
        raise ParameterError(f"{path} is no bound.json of this version ({error})") from error


def measured(args: argparse.Namespace) -> list[dict[str, Any]]:
    """All nets taught and asked, largest factor first; bound.json after each."""
    from dialtell.model.net.weights_file import find_weights, load_weights
    from dialtell.synth.scene import RENDERER_VERSION

    known = {view.name: view for view in VIEWS}
    views = args.views.split(",")
    if unknown := [name for name in views if name not in known]:
        raise ParameterError(f"views hold {unknown[0]!r}; give some of {', '.join(known)}")
    try:
        factors = sorted((float(word) for word in args.factors.split(",")), reverse=True)
    except ValueError:
        raise ParameterError(f"factors is {args.factors!r}; give numbers with commas between") from None
    require_range("count", args.count, 1, 100_000)
    clean, missing = narrowed(CLEAN, [*PLAIN, *args.range], args.variety)
    if missing:
        log.warning("not in this tree, passed over: %s", ", ".join(missing))
    about = {"renderer_version": RENDERER_VERSION, "command": " ".join(sys.argv)}
    first = None if args.start == "none" else load_weights(find_weights(args.start)).net
    rows: list[dict[str, Any]] = []
    if args.untaught and first is None:
        raise ParameterError("--untaught asks the weights it begins with, so --start cannot be none")
    supply = BoundSupply(args.workers)
    with supply:
        for name in views:
            net = first
            for factor in factors:
                scope = replace(clean, jitter=factor)
                if net is None or not args.untaught:
                    net = taught(supply, scope, known[name], net, args)
                rows += asked(net, supply, scope, known[name], args.count)
                keep(args.out, rows, about)
                net = net.cpu()
    return rows


def build_parser() -> argparse.ArgumentParser:
    """The flags."""
    parser = argparse.ArgumentParser(prog="python tests/trials training/bound", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for bound.json and bound.png")
    parser.add_argument("--join", type=Path, nargs="+", metavar="FILE", help="teach nothing, join these bound.json")
    parser.add_argument("--factors", default="1,0.5,0.25", metavar="A,B,..", help="on the hand (default: %(default)s)")
    parser.add_argument("--views", default=",".join(view.name for view in VIEWS), help="default: %(default)s")
    parser.add_argument("--minutes", type=float, metavar="M", help="most minutes of training for each net")
    parser.add_argument("--count", type=int, default=600, metavar="N", help="fresh pictures (default: %(default)s)")
    parser.add_argument("--start", default="shipped", help="weights to begin with, or none (default: shipped)")
    parser.add_argument("--untaught", action="store_true", help="teach nothing, ask those weights as they are")
    parser.add_argument("--range", nargs="*", default=[], metavar="F=V", help="other fields of Range")
    parser.add_argument("--variety", nargs="*", default=[], metavar="F=V", help="other fields of Variety")
    parser.add_argument("--preset", choices=("desk", "full", "tiny"), default="full", help="net (default: full)")
    for name, usual in SHORT.items():
        parser.add_argument(f"--{name}", type=int, metavar="N", help=f"default: {usual} of the preset full")
    parser.add_argument("--seed", type=int, default=1, help="of nets and pictures (default: %(default)s)")
    parser.add_argument("--workers", type=int, default=0, metavar="N", help="drawing processes (default: one a core)")
    parser.add_argument("--device", choices=("auto", "cpu", "cuda", "mps"), help="where (default: auto)")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Teach and ask, or join; a table on standard output."""
    from dialtell.evaluate.plots.style import write_plots

    args = build_parser().parse_args(arguments)
    log.setLevel(logging.INFO)
    if not log.handlers:
        log.addHandler(logging.StreamHandler(sys.stderr))
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        if args.join:
            rows = [row for path in args.join for row in rows_in(path)]
            keep(args.out, rows, {"joined": [str(path) for path in args.join]})
        else:
            rows = measured(args)
        write_plots(args.out, {"bound": plot(rows)}, overwrite=True)
    except DialtellError as error:
        print(f"bound: error: {error}", file=sys.stderr)
        return 1
    print(text(rows))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
