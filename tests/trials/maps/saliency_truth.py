"""Is the map true? Strokes planted by the renderer, found or not by each map.

`python tests/trials maps/saliency_truth` prints the table. A map counts only if it beats an edge map and a map of
the ink at finding what was planted, and dies when the weights are randomised. All maps are laid on the dial and
compared there after the same smoothing, as they are looked at. On one idle core a plant takes some 6 s for the cheap
maps (`--maps places,edges,ink,random`) and 30 s for all.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from scipy.stats import spearmanr
from tqdm import tqdm
from trials.maps.occlusion_map import occlusion_map

from dialtell.evaluate.maps.attribution import attribute
from dialtell.evaluate.maps.integrated_gradients import paint_map
from dialtell.evaluate.maps.map_words import maps_record
from dialtell.evaluate.maps.place_map import Judge, on_ink
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.verdict import tensors
from dialtell.model.net.weights_file import SHIPPED, Weights, load_weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import PatchSet
from dialtell.model.reading.steps import Reading, read_at
from dialtell.synth.planting import Plant, Planted, plant
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.terms import ZONES, Zone
from dialtell.synth.shared.workers import in_order
from dialtell.train.bags.bags import known_geometry, photo_of
from dialtell.train.stats.proportion import wilson

Maps = NDArray[np.float32]

SEED = 7_000_003
PLANE = 320.0  # px per dial radius of the plane in which maps are compared
HALF = 1.1  # dial radii
SMOOTH_PX = 1.0  # of every map, px of the plane
NEAR_PX = 2  # a pointer this near the mask hits it
SHARES = (0.05, 0.15, 0.35, 0.65)  # of the pixels with ink taken out or put in
CURVE_PATCHES = 64  # deletion and insertion use as many as a dial had in training
STEPS = 16  # nodes of integrated gradients
SCOPE = Range(pixels_per_radius=(500.0, 900.0), max_side=1600, tilt=15.0, wear=(0.0, 0.3), hands_off=1.0)


@dataclass(frozen=True)
class MapResult:
    """How one map did on one plant.

    enrichment : energy in the mask, towards what was planted, over the mask's share of the patches' area. hit, zone_hit
    : whether the peak of the whole map, or of the planted zone's part of it, lies in the mask. right : whether the
    map's mean in the mask has the plant's sign. deletion, insertion : mean share of the logit's change left or reached
    while the inked pixels that count most are taken out or put in first, 0..1: low deletion, high insertion are good.
    logit : the dial's, with the plant. error : relative completeness error, None where there is none to report.
    """

    plant: str
    index: int
    map: str
    enrichment: float
    hit: bool
    zone_hit: bool
    right: bool
    deletion: float
    insertion: float
    logit: float
    error: float | None = None


@dataclass(frozen=True, eq=False)
class FinishedMap:
    """One map over the patches, (N, S, S), and its relative completeness error."""

    values: Maps
    error: float | None = None


def edges(patches: PatchSet) -> Maps:
    """Strength of edges: what any filter sees in ink on white."""
    found = []
    for patch in patches.density:
        across, down = cv2.Sobel(patch, cv2.CV_32F, 1, 0), cv2.Sobel(patch, cv2.CV_32F, 0, 1)
        found.append(np.hypot(across, down))
    return np.asarray(found, np.float32)


def noise(patches: PatchSet) -> Maps:
    """A map that knows nothing."""
    return np.random.default_rng(len(patches)).random(patches.density.shape).astype(np.float32)


@dataclass(frozen=True, eq=False)
class MapsOfDial:
    """A reading that maps are made of. zone : where the plant lies."""

    reading: Reading
    weights: Weights
    zone: Zone

    @cached_property
    def judge(self) -> Judge:
        """The net asked about places, for all maps that want it."""
        return Judge(self.reading, self.weights)


def _gradients(at: MapsOfDial, zone: Zone | None = None) -> FinishedMap:
    patches = at.reading.patches
    if zone is not None and not (patches.zone == ZONES.index(zone)).any():
        return FinishedMap(np.zeros(patches.density.shape, np.float32))
    found = attribute(patches, at.weights, zone, nodes=(STEPS,))
    return FinishedMap(found.values, found.relative_error)


MAPS: dict[str, Callable[[MapsOfDial], FinishedMap]] = {
    "places": lambda at: FinishedMap(on_ink(at.judge.alone(), at.reading.patches)),
    "beside": lambda at: FinishedMap(on_ink(at.judge.beside(), at.reading.patches)),
    "against its dial": lambda at: FinishedMap(on_ink(at.judge.unlike(), at.reading.patches)),
    "gradients": _gradients,
    "gradients of the zone": lambda at: _gradients(at, at.zone),
    "occlusion": lambda at: FinishedMap(occlusion_map(at.reading.patches, at.weights)),
    "edges": lambda at: FinishedMap(edges(at.reading.patches)),
    "ink": lambda at: FinishedMap(np.clip(at.reading.patches.density, 0.0, None)),
    "random": lambda at: FinishedMap(noise(at.reading.patches)),
}
UNSIGNED = ("edges", "ink", "random")
BOTH = "places and gradients"  # where a place and a stroke in it speak alike; costs nothing once both are there


def all_maps(reading: Reading, weights: Weights, zone: Zone, names: Sequence[str]) -> dict[str, FinishedMap]:
    """The maps named, and BOTH where both of its halves are."""
    at = MapsOfDial(reading, weights, zone)
    made = {name: MAPS[name](at) for name in names}
    if "places" in made and "gradients" in made:
        first, second = made["places"].values, made["gradients"].values
        alike = np.sqrt(np.clip(first * second, 0.0, None))
        made[BOTH] = FinishedMap(np.asarray(np.sign(first) * alike, np.float32))
    return made


def on_dial(values: Maps, patches: PatchSet) -> Maps:
    """A map over patches painted on the dial seen face on: (H, W), PLANE px per radius."""
    side = round(2 * HALF * PLANE)
    view = DialGeometry((0.5 * side, 0.5 * side), (PLANE, PLANE))
    return paint_map(values, patches.grids(view), (side, side))


def planted_on_dial(planted: Planted, geometry: DialGeometry) -> NDArray[np.bool_]:
    """The plant's mask on the same plane."""
    side = round(2 * HALF * PLANE)
    axis = (np.arange(side) + 0.5) / PLANE - HALF
    at = np.stack(np.meshgrid(axis, axis), axis=-1)
    photo = geometry.to_photo(at.reshape(-1, 2)).reshape(at.shape).astype(np.float32) - np.float32(0.5)
    blurred = cv2.GaussianBlur(planted.mask, (0, 0), 1.0)
    seen = cv2.remap(blurred, photo[..., 0].copy(), photo[..., 1].copy(), cv2.INTER_LINEAR)
    return np.asarray(seen > 0.15)


def enrichment(values: Maps, inside: NDArray[np.bool_], seen: NDArray[np.bool_] | None = None) -> float:
    """Share of the map's positive energy inside over the share of area inside, both of what was seen."""
    energy = np.clip(values, 0.0, None).astype(np.float64)
    if seen is not None:
        energy, inside = energy[seen], inside[seen]
    total = energy.sum()
    return float(energy[inside].sum() / total / inside.mean()) if total > 0 else 0.0


def points_at(values: Maps, inside: NDArray[np.bool_]) -> bool:
    """Whether the map's peak lies in the mask or within NEAR_PX of it; a map of nothing points nowhere."""
    if not values.max(initial=0.0) > 0:
        return False
    row, column = np.unravel_index(int(values.argmax()), values.shape)
    rows, columns = np.nonzero(inside)
    return bool((np.hypot(rows - row, columns - column) <= NEAR_PX).any())


def curves(values: Maps, patches: PatchSet, weights: Weights) -> tuple[float, float]:
    """(deletion, insertion): the inked pixels of largest size first, both ways; shares of the logit's change, 0..1."""
    some = np.unique(np.linspace(0, len(patches) - 1, min(CURVE_PATCHES, len(patches))).astype(np.int64))
    bag, zone, resolution = tensors(patches)
    bag, zone = bag[:, some], zone[:, some]
    flat = bag.reshape(-1)
    size = np.abs(values[some]).ravel()
    inked = np.flatnonzero(np.abs(flat.numpy()) > 0.02)
    order = inked[np.argsort(-size[inked], kind="stable")]
    net = weights.net.eval()

    def logit(density: torch.Tensor) -> float:
        return float(net(density.reshape(bag.shape), zone, resolution).dial[0])

    with torch.inference_mode():
        whole, bare = logit(flat), logit(torch.zeros_like(flat))
        change = whole - bare
        if abs(change) < 1e-6:
            return 0.5, 0.5
        deleted, inserted = [], []
        for share in SHARES:
            first = torch.from_numpy(order[: round(share * len(order))].copy())
            less, more = flat.clone(), torch.zeros_like(flat)
            less[first], more[first] = 0.0, flat[first]
            deleted.append((logit(less) - bare) / change)
            inserted.append((logit(more) - bare) / change)
    return float(np.clip(deleted, 0, 1).mean()), float(np.clip(inserted, 0, 1).mean())


def findings(
    index: int, what: Plant, weights: Weights, *, seed: int = SEED, names: Sequence[str] = tuple(MAPS)
) -> list[MapResult]:
    """Every map's finding on plant `index`; empty when its design has nothing to plant on or it is hardly seen."""
    spec = sample_spec(seed, index, SCOPE)
    rng = np.random.default_rng([seed, index, list(Plant).index(what)])
    planted = plant(spec, what, rng=rng)
    if planted is None or planted.mask.max(initial=0.0) < 0.2:
        return []
    reading = read_at(photo_of(planted.pixels), known_geometry(spec, rng=rng, jitter=0.0))
    patches = reading.patches
    if len(patches) < 6:
        return []
    seen = on_dial(np.ones_like(patches.density), patches) > 0
    inside = planted_on_dial(planted, reading.geometry) & seen
    if inside.sum() < 6:
        return []
    own = np.broadcast_to((patches.zone == ZONES.index(planted.zone))[:, None, None], patches.density.shape)
    near = on_dial(own.astype(np.float32), patches) > 0.5
    with torch.inference_mode():
        logit = float(weights.net.eval()(*tensors(patches)).dial[0])
    found = []
    for name, made in all_maps(reading, weights, planted.zone, names).items():
        values = cv2.GaussianBlur(on_dial(made.values, patches), (0, 0), SMOOTH_PX)
        toward = np.asarray(values if planted.toward_hand or name in UNSIGNED else -values, np.float32)
        found.append(
            MapResult(
                str(what), index, name, enrichment(toward, inside, seen), points_at(toward, inside),
                points_at(toward * near, inside), bool(toward[inside].mean() > 0),
                *curves(made.values, patches, weights), logit, made.error,
            )
        )  # fmt: skip
    return found


def randomised(weights: Weights, *, seed: int = 0) -> Weights:
    """The same net with weights drawn afresh; the caller's own random numbers are left alone."""
    with torch.random.fork_rng(devices=[]):
        torch.manual_seed(seed)
        return replace(weights, net=StrokeNet(weights.net.config).eval())


def rank_correlations(index: int, weights: Weights, names: Sequence[str], *, seed: int = SEED) -> dict[str, float]:
    """Spearman's correlation of each signed map with that of randomised weights, over ink only."""
    spec = sample_spec(seed, index, SCOPE)
    geometry = known_geometry(spec, rng=np.random.default_rng(index), jitter=0.0)
    reading = read_at(photo_of(render(spec)), geometry)
    if len(reading.patches) < 6:
        return {}
    ink = reading.patches.density > 0.15
    zone = ZONES[int(np.bincount(reading.patches.zone).argmax())]
    signed = [name for name in names if name not in UNSIGNED]
    first, second = (all_maps(reading, w, zone, signed) for w in (weights, randomised(weights, seed=index)))
    return {name: float(spearmanr(first[name].values[ink], second[name].values[ink]).statistic) for name in first}


def median_interval(values: Sequence[float], *, seed: int = 0, draws: int = 2000) -> tuple[float, float, float]:
    """(median, low, high): the bootstrap's 95 % over dials, percentile method."""
    own = np.asarray(values, np.float64)
    rng = np.random.default_rng(seed)
    drawn = np.median(own[rng.integers(len(own), size=(draws, len(own)))], axis=1)
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(np.median(own)), float(low), float(high)


def table(found: list[MapResult]) -> list[dict[str, object]]:
    """By plant and map: medians of enrichment, of its ratio to the edge map's on the same dial, rates and areas."""
    edge = {(f.plant, f.index): f.enrichment for f in found if f.map == "edges"}
    rows: list[dict[str, object]] = []
    for what in Plant:
        for name in (*MAPS, BOTH):
            own = [f for f in found if f.plant == what and f.map == name]
            if not own:
                continue
            rich = median_interval([f.enrichment for f in own])
            ratios = [f.enrichment / max(edge[f.plant, f.index], 1e-9) for f in own if (f.plant, f.index) in edge]
            hits, errors = sum(f.hit for f in own), [f.error for f in own if f.error is not None]
            rows.append(
                {
                    "plant": str(what), "map": name, "n": len(own),
                    "enrichment": [round(value, 2) for value in rich],
                    "over_edges": round(float(np.median(ratios)), 2) if ratios else None,
                    "hit_rate": [round(value, 3) for value in (hits / len(own), *wilson(hits, len(own)))],
                    "zone_hit_rate": round(float(np.mean([f.zone_hit for f in own])), 3),
                    "right_sign": None if name in UNSIGNED else round(float(np.mean([f.right for f in own])), 3),
                    "deletion": round(float(np.mean([f.deletion for f in own])), 3),
                    "insertion": round(float(np.mean([f.insertion for f in own])), 3),
                    "completeness_error": round(float(np.median(errors)), 4) if errors else None,
                    "logit": round(float(np.median([f.logit for f in own])), 2),
                }
            )  # fmt: skip
    return rows


_worker: dict[str, Weights] = {}


def _start(path: Path | None) -> None:
    torch.set_num_threads(1)
    _worker["weights"] = load_weights(path)


def _findings(job: tuple[int, Plant], seed: int, names: list[str]) -> list[MapResult]:
    return findings(*job, _worker["weights"], seed=seed, names=names)


def _ranks(index: int, seed: int, names: list[str]) -> dict[str, float]:
    return rank_correlations(index, _worker["weights"], names, seed=seed)


def _names(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",") if name.strip()]
    unknown = [name for name in names if name not in MAPS]
    if unknown or not names:
        raise ParameterError(f"--maps is {text!r}; give some of {', '.join(MAPS)}, with commas between")
    return names


def main(argv: list[str] | None = None) -> int:
    """The command; prints a table, or one JSON document."""
    parser = argparse.ArgumentParser(prog="python tests/trials maps/saliency_truth", description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="dials tried of each plant (default: %(default)s)")
    parser.add_argument("--maps", default=",".join(MAPS), help="which, with commas (default: %(default)s)")
    parser.add_argument("--random", type=int, default=8, help="dials for randomised weights (default: %(default)s)")
    parser.add_argument("--weights", type=Path, help="default: the shipped ones")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--workers", type=int, default=1, help="processes (default: %(default)s)")
    parser.add_argument("--rows", type=Path, help="write every finding there as it comes, a line of JSON each")
    parser.add_argument("--note", action="store_true", help="write the figures into the weights' JSON, for pages")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(argv)
    try:
        names = _names(args.maps)
    except ParameterError as error:
        parser.error(str(error))
    jobs = [(index, what) for index in range(args.count) for what in Plant]
    found: list[MapResult] = []
    begin: Any = {"workers": args.workers, "start": _start, "arguments": (args.weights,)}
    for own in tqdm(
        in_order(partial(_findings, seed=args.seed, names=names), jobs, **begin), total=len(jobs), disable=None
    ):
        found += own
        if args.rows is not None:
            with args.rows.open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(asdict(finding)) + "\n" for finding in own)
    ranks: dict[str, list[float]] = {}
    for one in in_order(partial(_ranks, seed=args.seed, names=names), range(args.random), **begin):
        for name, value in one.items():
            ranks.setdefault(name, []).append(value)
    rows = table(found)
    if args.note:
        note(args.weights or SHIPPED, rows)
    if args.json:
        print(json.dumps({"rows": rows, "rank_correlation_randomised": ranks}, allow_nan=False))
        return 0
    print(results_text(rows, ranks))
    return 0


def note(weights: Path, rows: list[dict[str, object]]) -> None:
    """Keep what the maps found in the JSON beside the weights, which pages quote."""
    described = weights.with_suffix(".json")
    record = json.loads(described.read_text("utf-8")) | {"maps": maps_record(rows)}
    write_whole(described, json.dumps(record, indent=1).encode(), overwrite=True)


def results_text(rows: list[dict[str, object]], ranks: dict[str, list[float]]) -> str:
    """The table as text; n a row, 95 % intervals in brackets."""
    head = (
        f"{'map':<23}{'n':>3}  {'enrichment':<22}{'/edges':>7}  {'hits':<20}{'in zone':>8}{'sign':>6}"
        f"{'deletion':>9}{'insertion':>10}{'error':>8}{'logit':>8}"
    )
    lines: list[str] = []
    before = ""
    for row in rows:
        if row["plant"] != before:
            before = str(row["plant"])
            lines += ["", before, head]
        middle, low, high = cast("list[float]", row["enrichment"])
        rate, least, most = cast("list[float]", row["hit_rate"])
        rich, hits = f"{middle:.1f} ({low:.1f} to {high:.1f})", f"{rate:.2f} ({least:.2f} to {most:.2f})"
        blank = {key: "" if value is None else value for key, value in row.items()}
        lines.append(
            f"{row['map']:<23}{row['n']:>3}  {rich:<22}{blank['over_edges']:>7}  {hits:<20}{row['zone_hit_rate']:>8}"
            f"{blank['right_sign']:>6}{row['deletion']:>9}{row['insertion']:>10}{blank['completeness_error']:>8}"
            f"{row['logit']:>8}"
        )
    lines.append("")
    for name, values in ranks.items():
        lines.append(
            f"rank correlation with randomised weights, {name}: mean {np.mean(values):+.3f}, n = {len(values)}"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
