"""Is the map true? Strokes planted by the renderer, found or not by each map.

`python tests/trials maps/saliency_truth` prints the table. A map counts only if it beats an edge map and a map of
the ink at finding what was planted, and dies when the weights are randomised. All maps are laid on the dial and
compared there after the same smoothing, as they are looked at. `--maps occlusion`, what the dial loses where a part of
a patch is wiped, is not made unless asked for: it takes a minute a plant.
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

from dialtell.evaluate.maps.map_words import ODD, PLACES, UNLIKE, maps_record
from dialtell.evaluate.maps.painting import Map, paint_map
from dialtell.evaluate.maps.place_map import DialMaps, maps_of
from dialtell.model.net.explanation import Explanation, explain
from dialtell.model.net.in_torch import InTorch
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.weights_file import SHIPPED, Weights, load_weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import PatchSet
from dialtell.model.reading.steps import Reading, read_at
from dialtell.synth.planting import Plant, Planted, plant
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.terms import ZONES
from dialtell.synth.shared.workers import in_order
from dialtell.train.bags.bags import known_geometry, photo_of
from dialtell.train.stats.proportion import wilson

SEED = 7_000_003
PLANE = 320.0  # px per dial radius of the plane in which maps are compared
HALF = 1.1  # dial radii
SMOOTH_PX = 1.0  # of every map, px of the plane
NEAR_PX = 2  # a pointer this near the mask hits it
SCOPE = Range(pixels_per_radius=(500.0, 900.0), max_side=1600, tilt=15.0, wear=(0.0, 0.3), hands_off=1.0)


@dataclass(frozen=True)
class MapResult:
    """How one map did on one plant.

    enrichment : energy in the mask, towards what was planted, over the mask's share of the patches' area. hit, zone_hit
    : whether the peak of the whole map, or of the planted zone's part of it, lies in the mask. right : whether the
    map's mean in the mask has the plant's sign. ratio : the dial's, log10 before its cap, with the plant.
    """

    plant: str
    index: int
    map: str
    enrichment: float
    hit: bool
    zone_hit: bool
    right: bool
    ratio: float


def edges(patches: PatchSet) -> Map:
    """Strength of edges: what any filter sees in ink on white."""
    found = []
    for patch in patches.density:
        across, down = cv2.Sobel(patch, cv2.CV_32F, 1, 0), cv2.Sobel(patch, cv2.CV_32F, 0, 1)
        found.append(np.hypot(across, down))
    return np.asarray(found, np.float32)


def noise(patches: PatchSet) -> Map:
    """A map that knows nothing."""
    return np.random.default_rng(len(patches)).random(patches.density.shape).astype(np.float32)


@dataclass(frozen=True, eq=False)
class MapsOfDial:
    """A reading that maps are made of."""

    reading: Reading
    weights: Weights

    @cached_property
    def explanation(self) -> Explanation:
        """What the net's ratio of the dial is the sum of."""
        patches, weights = self.reading.patches, self.weights
        said = weights.asks.said(patches)
        found = explain(said, patches.joined, weights.dial_calibration, weights.zone_calibration)
        assert found is not None  # of every StrokeNet
        return found

    @cached_property
    def shown(self) -> DialMaps:
        """The maps that pages show."""
        return maps_of(self.explanation, self.reading.patches)


MAPS: dict[str, Callable[[MapsOfDial], Map]] = {
    PLACES: lambda at: at.shown.places,
    UNLIKE: lambda at: at.shown.unlike,
    ODD: lambda at: at.shown.odd,
    "occlusion": lambda at: occlusion_map(at.reading.patches, at.weights),
    "edges": lambda at: edges(at.reading.patches),
    "ink": lambda at: np.clip(at.reading.patches.density, 0.0, None),
    "random": lambda at: noise(at.reading.patches),
}
UNSIGNED = ("edges", "ink", "random")
CHEAP = tuple(name for name in MAPS if name != "occlusion")


def on_dial(values: Map, patches: PatchSet) -> Map:
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


def enrichment(values: Map, inside: NDArray[np.bool_], seen: NDArray[np.bool_] | None = None) -> float:
    """Share of the map's positive energy inside over the share of area inside, both of what was seen."""
    energy = np.clip(values, 0.0, None).astype(np.float64)
    if seen is not None:
        energy, inside = energy[seen], inside[seen]
    total = energy.sum()
    return float(energy[inside].sum() / total / inside.mean()) if total > 0 else 0.0


def points_at(values: Map, inside: NDArray[np.bool_]) -> bool:
    """Whether the map's peak lies in the mask or within NEAR_PX of it; a map of nothing points nowhere."""
    if not values.max(initial=0.0) > 0:
        return False
    row, column = np.unravel_index(int(values.argmax()), values.shape)
    rows, columns = np.nonzero(inside)
    return bool((np.hypot(rows - row, columns - column) <= NEAR_PX).any())


def findings(
    index: int, what: Plant, weights: Weights, *, seed: int = SEED, names: Sequence[str] = CHEAP
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
    at, found = MapsOfDial(reading, weights), []
    for name in names:
        values = cv2.GaussianBlur(on_dial(MAPS[name](at), patches), (0, 0), SMOOTH_PX)
        toward = np.asarray(values if planted.toward_hand or name in UNSIGNED else -values, np.float32)
        found.append(
            MapResult(
                str(what), index, name, enrichment(toward, inside, seen), points_at(toward, inside),
                points_at(toward * near, inside), bool(toward[inside].mean() > 0), at.explanation.total,
            )
        )  # fmt: skip
    return found


def randomised(weights: Weights, *, seed: int = 0) -> Weights:
    """The same net with weights drawn afresh; the caller's own random numbers are left alone."""
    with torch.random.fork_rng(devices=[]):
        torch.manual_seed(seed)
        return replace(weights, asks=InTorch(StrokeNet(weights.net.config).eval()))


def rank_correlations(index: int, weights: Weights, names: Sequence[str], *, seed: int = SEED) -> dict[str, float]:
    """Spearman's correlation of each signed map with that of randomised weights, over ink only."""
    spec = sample_spec(seed, index, SCOPE)
    geometry = known_geometry(spec, rng=np.random.default_rng(index), jitter=0.0)
    reading = read_at(photo_of(render(spec)), geometry)
    if len(reading.patches) < 6:
        return {}
    ink = reading.patches.density > 0.15
    first, second = (MapsOfDial(reading, w) for w in (weights, randomised(weights, seed=index)))
    return {
        name: float(spearmanr(*(MAPS[name](at)[ink] for at in (first, second))).statistic)
        for name in names
        if name not in UNSIGNED
    }


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
        for name in MAPS:
            own = [f for f in found if f.plant == what and f.map == name]
            if not own:
                continue
            rich = median_interval([f.enrichment for f in own])
            ratios = [f.enrichment / max(edge[f.plant, f.index], 1e-9) for f in own if (f.plant, f.index) in edge]
            hits = sum(f.hit for f in own)
            rows.append(
                {
                    "plant": str(what), "map": name, "n": len(own),
                    "enrichment": [round(value, 2) for value in rich],
                    "over_edges": round(float(np.median(ratios)), 2) if ratios else None,
                    "hit_rate": [round(value, 3) for value in (hits / len(own), *wilson(hits, len(own)))],
                    "zone_hit_rate": round(float(np.mean([f.zone_hit for f in own])), 3),
                    "right_sign": None if name in UNSIGNED else round(float(np.mean([f.right for f in own])), 3),
                    "log10_lr": round(float(np.median([f.ratio for f in own])), 2),
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
    parser.add_argument("--maps", default=",".join(CHEAP), help="which, with commas (default: %(default)s)")
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
        f"{'map':<23}{'n':>3}  {'enrichment':<22}{'/edges':>7}  {'hits':<20}{'in zone':>8}{'sign':>6}{'log10 LR':>10}"
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
            f"{blank['right_sign']:>6}{row['log10_lr']:>10}"
        )
    lines.append("")
    for name, values in ranks.items():
        lines.append(
            f"rank correlation with randomised weights, {name}: mean {np.mean(values):+.3f}, n = {len(values)}"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
