"""Is the map true? Strokes planted by the renderer, found or not by each map.

`python -m dialtell.evaluate.saliency_truth` prints the table. A map counts only if it beats an edge map at finding
what was planted, and dies when the weights are randomised. All maps are compared in the patches the net looked at,
after the same smoothing.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from scipy.stats import spearmanr
from tqdm import tqdm

from dialtell.evaluate.attribution import attribute
from dialtell.evaluate.occlusion_map import occlusion_map
from dialtell.evaluate.verdict import tensors
from dialtell.model.net import StrokeNet
from dialtell.model.patches import PatchSet
from dialtell.model.photo import linear_light, luminance
from dialtell.model.reading import read_at
from dialtell.model.store import Weights, load_weights
from dialtell.synth.planting import Plant, plant
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.train.bags import known_geometry

Maps = NDArray[np.float32]

SEED = 7_000_003
SMOOTH_PX = 2.0  # of every map, patch px
NEAR_PX = 4  # a pointer this near the mask hits it
SHARES = tuple(np.linspace(0.0, 1.0, 11)[1:-1])  # of the pixels taken out or put in
SCOPE = Range(pixels_per_radius=(500.0, 900.0), max_side=1600, tilt=15.0, wear=(0.0, 0.3), hands_off=1.0)


@dataclass(frozen=True)
class Finding:
    """How one map did on one plant.

    enrichment : energy in the mask over the mask's share of the patches' area. hit : whether its peak lies in it.
    deletion, insertion : mean share of the logit's change left or reached while the pixels that count most are taken
    out or put in first, 0..1; low deletion and high insertion are good.
    """

    plant: str
    map: str
    enrichment: float
    hit: bool
    deletion: float
    insertion: float


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


def gradients(patches: PatchSet, weights: Weights) -> Maps:
    return attribute(patches, weights).values


MAPS: dict[str, Callable[[PatchSet, Weights], Maps]] = {
    "integrated gradients": gradients,
    "occlusion": occlusion_map,
    "edges": lambda patches, _: edges(patches),
    "random": lambda patches, _: noise(patches),
}
UNSIGNED = ("edges", "random")


def smoothed(values: Maps) -> Maps:
    """Each patch blurred alike."""
    return np.asarray([cv2.GaussianBlur(v, (0, 0), SMOOTH_PX) for v in values], np.float32)


def enrichment(values: Maps, inside: NDArray[np.bool_]) -> float:
    """Share of the map's positive energy inside over the share of area inside."""
    energy = np.clip(values, 0.0, None).astype(np.float64)
    total = energy.sum()
    return float(energy[inside].sum() / total / inside.mean()) if total > 0 else 0.0


def points_at(values: Maps, inside: NDArray[np.bool_]) -> bool:
    """Whether the map's peak lies in the mask or within NEAR_PX of it."""
    patch, row, column = np.unravel_index(int(values.argmax()), values.shape)
    near = np.zeros(inside.shape[1:], np.uint8)
    near[row, column] = 1
    size = 2 * NEAR_PX + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return bool((cv2.dilate(near, disc).astype(bool) & inside[patch]).any())


def curves(values: Maps, patches: PatchSet, weights: Weights) -> tuple[float, float]:
    """(deletion, insertion): the pixels of largest size first, both ways; shares of the logit's change, 0..1."""
    order = np.argsort(-np.abs(values), axis=None, kind="stable")
    bag, zone, resolution = tensors(patches)
    flat = bag.reshape(-1)
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


def findings(index: int, what: Plant, weights: Weights, *, seed: int = SEED) -> list[Finding]:
    """Every map's finding on plant `index`; empty when its design has nothing to plant on or it is hardly seen."""
    spec = sample_spec(seed, index, SCOPE)
    rng = np.random.default_rng([seed, index, list(Plant).index(what)])
    planted = plant(spec, what, rng=rng)
    if planted is None or planted.mask.max(initial=0.0) < 0.2:
        return []
    geometry = known_geometry(spec, rng=rng, jitter=0.0)
    reading = read_at(luminance(linear_light(planted.pixels)), geometry)
    patches = reading.patches
    if len(patches) < 6:
        return []
    grids = patches.grids(reading.geometry).reshape(-1, 64, 2) - np.float32(0.5)
    blurred = cv2.GaussianBlur(planted.mask, (0, 0), 1.0)
    seen = [cv2.remap(blurred, g[..., 0], g[..., 1], cv2.INTER_LINEAR) for g in np.array_split(grids, len(patches))]
    inside = np.asarray(seen, np.float32).reshape(patches.density.shape) > 0.15
    if inside.sum() < 12:
        return []
    found = []
    for name, make in MAPS.items():
        values = smoothed(make(patches, weights))
        toward = values if planted.toward_hand or name in UNSIGNED else -values
        deletion, insertion = curves(values, patches, weights)
        found.append(
            Finding(str(what), name, enrichment(toward, inside), points_at(toward, inside), deletion, insertion)
        )
    return found


def randomised(weights: Weights, *, seed: int = 0) -> Weights:
    """The same net with weights drawn afresh."""
    torch.manual_seed(seed)
    return replace(weights, net=StrokeNet(weights.net.config).eval())


def rank_correlation(index: int, weights: Weights, *, seed: int = SEED) -> float:
    """Spearman's correlation of the gradients' map with that of randomised weights, over ink only."""
    spec = sample_spec(seed, index, SCOPE)
    geometry = known_geometry(spec, rng=np.random.default_rng(index), jitter=0.0)
    patches = read_at(luminance(linear_light(render(spec))), geometry).patches
    ink = patches.density > 0.15
    first, second = (gradients(patches, w)[ink] for w in (weights, randomised(weights, seed=index)))
    return float(spearmanr(first, second).statistic)


def table(found: list[Finding]) -> list[dict[str, object]]:
    """Medians of enrichment, hit rates and mean areas by plant and map."""
    rows: list[dict[str, object]] = []
    for what in sorted({f.plant for f in found}):
        for name in MAPS:
            own = [f for f in found if f.plant == what and f.map == name]
            if not own:
                continue
            rows.append(
                {
                    "plant": what, "map": name, "n": len(own),
                    "enrichment": round(float(np.median([f.enrichment for f in own])), 2),
                    "hit_rate": round(float(np.mean([f.hit for f in own])), 3),
                    "deletion": round(float(np.mean([f.deletion for f in own])), 3),
                    "insertion": round(float(np.mean([f.insertion for f in own])), 3),
                }
            )  # fmt: skip
    return rows


_worker: dict[str, Weights] = {}


def _start(path: Path | None) -> None:
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    _worker["weights"] = load_weights(path)


def _findings(index: int, what: Plant, seed: int) -> list[Finding]:
    return findings(index, what, _worker["weights"], seed=seed)


def _rank(index: int, seed: int) -> float:
    return rank_correlation(index, _worker["weights"], seed=seed)


def main(argv: list[str] | None = None) -> int:
    """The command; prints a table, or one JSON document."""
    parser = argparse.ArgumentParser(prog="python -m dialtell.evaluate.saliency_truth", description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="dials tried of each plant (default: %(default)s)")
    parser.add_argument("--weights", type=Path, help="default: the shipped ones")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--workers", type=int, default=1, help="processes (default: %(default)s)")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(argv)
    jobs = [(index, what) for index in range(args.count) for what in Plant]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(args.workers, mp_context=context, initializer=_start, initargs=(args.weights,)) as pool:
        orders = [pool.submit(_findings, index, what, args.seed) for index, what in jobs]
        last = [pool.submit(_rank, index, args.seed) for index in range(min(args.count, 20))]
        found = [finding for order in tqdm(orders, disable=None) for finding in order.result()]
        ranks = [order.result() for order in last]
    rows = table(found)
    if args.json:
        print(json.dumps({"rows": rows, "rank_correlation_randomised": ranks}, allow_nan=False))
        return 0
    print(f"{'plant':<46}{'map':<22}{'n':>4}{'enrichment':>12}{'hits':>7}{'deletion':>10}{'insertion':>11}")
    for row in rows:
        print(f"{row['plant']:<46}{row['map']:<22}{row['n']:>4}{row['enrichment']:>12}{row['hit_rate']:>7}"
              f"{row['deletion']:>10}{row['insertion']:>11}")  # fmt: skip
    print(f"rank correlation with randomised weights: mean {np.mean(ranks):+.3f}, n = {len(ranks)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
