"""Our registration beside a general library's, on the same pairs: `python tests/trials plates/registration_bench`.

Two photographs of prints of one plate, or of painted copies, by different cameras; every method gets the same sheets
face on (the dial's outline found, 12 o'clock up), so that only the laying on each other differs. Accuracy is how far
the middles of the strokes are put from where the renderer laid them, mm; the time is that of one core. The library is
OpenCV: enhanced correlation (findTransformECC, affine and homography), ORB with a homography by RANSAC, and dense
optical flow (DIS).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm
from trials.plates.dial_pairs import Kinship, sample_pair
from trials.plates.pair_rows import Bench, scope_at

from dialtell.evaluate.compare.registration import EXTENT, DialSheet, register

Floats = NDArray[np.float64]
# puts (N, 2) px of the first sheet on the second; None when it gives up
Method = Callable[[DialSheet, DialSheet, Floats], Floats | None]
SEED = 9_100_003
OURS = "dialtell"
LOST_MM = 0.5  # median error from which a pair counts as not laid on each other at all
CHOSEN = (Kinship.ONE_PLATE, Kinship.TWO_HANDS)


def ours(first: DialSheet, second: DialSheet, points: Floats) -> Floats | None:
    """Matched places and a cubic bend."""
    found = register(first, second)
    if found is None:
        return None
    return (found.place(points / first.scale - EXTENT) + EXTENT) * second.scale


def ecc(kind: int) -> Method:
    """Enhanced correlation coefficient (Evangelidis & Psarakis, PAMI 2008), 200 steps at most, from no motion."""

    def lay(first: DialSheet, second: DialSheet, points: Floats) -> Floats | None:
        start = np.eye(3 if kind == cv2.MOTION_HOMOGRAPHY else 2, 3, dtype=np.float32)
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-6)
        try:
            mask = second.seen.astype(np.uint8)
            _, matrix = cv2.findTransformECC(first.ink, second.ink, start, kind, stop, mask, 5)
        except cv2.error:
            return None
        return _mapped(np.vstack([matrix, [0, 0, 1]]) if len(matrix) == 2 else matrix, points)

    return lay


def orb(first: DialSheet, second: DialSheet, points: Floats) -> Floats | None:
    """ORB (Rublee et al., ICCV 2011) matched both ways, a homography by RANSAC at 2 px."""
    finder = cv2.ORB.create(3000)
    keys, marks = zip(
        *(finder.detectAndCompute(_bytes(s), s.seen.astype(np.uint8)) for s in (first, second)), strict=True
    )
    if any(mark is None or len(mark) < 8 for mark in marks):
        return None
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(*marks)
    if len(pairs) < 8:
        return None
    a = np.array([keys[0][pair.queryIdx].pt for pair in pairs])
    b = np.array([keys[1][pair.trainIdx].pt for pair in pairs])
    matrix, _ = cv2.findHomography(a, b, cv2.RANSAC, 2.0)
    return None if matrix is None else _mapped(np.asarray(matrix), points)


def flow(first: DialSheet, second: DialSheet, points: Floats) -> Floats | None:
    """Dense inverse search (Kroeger et al., ECCV 2016), medium preset; the flow is read where the point lies."""
    still = np.zeros((*first.ink.shape, 2), np.float32)
    field = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM).calc(_bytes(first), _bytes(second), still)
    at = (points - 0.5).astype(np.float32)
    move = cv2.remap(np.asarray(field, np.float32), at[:, :1], at[:, 1:], cv2.INTER_LINEAR)
    return points + np.asarray(move, np.float64).reshape(-1, 2)


METHODS: dict[str, Method] = {
    OURS: ours,
    "ECC, affine": ecc(cv2.MOTION_AFFINE),
    "ECC, homography": ecc(cv2.MOTION_HOMOGRAPHY),
    "ORB and RANSAC": orb,
    "optical flow, DIS": flow,
}


def _bytes(sheet: DialSheet) -> NDArray[np.uint8]:
    return np.asarray(np.clip(255 - 200 * sheet.ink, 0, 255), np.uint8)


def _mapped(matrix: NDArray[Any], points: Floats) -> Floats:
    """By a homography between pixel indices, half a px off continuous coordinates."""
    moved = np.column_stack([points - 0.5, np.ones(len(points))]) @ np.asarray(matrix, np.float64).T
    return np.asarray(moved[:, :2] / moved[:, 2:] + 0.5)


def measure(pairs: int, px_per_mm: float, *, seed: int = SEED, watch: bool = True) -> dict[str, Any]:
    """By kinship and method n, lost, median and 90 % of the pairs' errors; seconds a pair and their ratio to ours."""
    errors: dict[tuple[str, str], list[float]] = {}
    seconds: dict[str, list[float]] = {name: [] for name in METHODS}
    for index in tqdm(range(pairs), disable=None if watch else True):
        bench = Bench()
        for kinship in CHOSEN:
            pair = sample_pair(seed, index, kinship, scope_at(px_per_mm))
            first, second = bench.sheets(pair)
            a, b = bench.places(pair)
            points = (bench.reading(pair.first).geometry.to_dial(a) + EXTENT) * first.scale
            truth = bench.reading(pair.second).geometry.to_dial(b)
            radius = pair.second.design.radius_mm
            for name, method in METHODS.items():
                began = time.process_time()
                placed = method(first, second, points)
                seconds[name].append(time.process_time() - began)
                if placed is None or not np.isfinite(placed).all():
                    errors.setdefault((kinship, name), []).append(np.inf)
                    continue
                away = np.hypot(*(placed / second.scale - EXTENT - truth).T) * radius
                errors.setdefault((kinship, name), []).append(float(np.median(away)))
    table = [
        {"kinship": str(kinship), "method": name, **_row(errors[kinship, name])}
        for kinship in CHOSEN for name in METHODS
    ]  # fmt: skip
    own = float(np.mean(seconds[OURS]))
    times = {name: {"mean_s": round(float(np.mean(spent)), 4), "times_ours": round(float(np.mean(spent)) / own, 3)}
             for name, spent in seconds.items()}  # fmt: skip
    return {"schema": "dialtell.registration_bench/1", "pairs": pairs, "px_per_mm": px_per_mm, "seed": seed,
            "library": f"OpenCV {cv2.__version__}", "errors_mm": table, "seconds": times}  # fmt: skip


def _row(errors: list[float]) -> dict[str, Any]:
    """Median and 90 % quantile over pairs of each pair's median error; lost pairs are in it where they are finite."""
    values = np.array(errors)
    kept = values[values < LOST_MM]
    quantiles = np.quantile(kept, [0.5, 0.9]) if len(kept) else (np.nan, np.nan)
    return {"n": len(values), "lost": len(values) - len(kept), "median": _number(quantiles[0]),
            "90 %": _number(quantiles[1])}  # fmt: skip


def _number(value: float) -> float | None:
    return round(float(value), 5) if np.isfinite(value) else None


def main(argv: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog="python tests/trials plates/registration_bench", description=__doc__)
    parser.add_argument("--pairs", type=int, default=20, help="of each kinship (default: %(default)s)")
    parser.add_argument("--px-per-mm", type=float, default=25.0, help="resolution (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=SEED, help="of the set of pairs (default: %(default)s)")
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    print(json.dumps(measure(args.pairs, args.px_per_mm, seed=args.seed), indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
