"""Making and measuring the plate test on drawn pairs: `python -m dialtell.evaluate.plate_pairs --out DIR`.

The first pairs fit the model and its caps, the others measure it. One row per pair in pairs.csv; the model in
plate_test.json; figures printed.
"""

from __future__ import annotations

import argparse
import csv
import json
import logging
import math
import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from dialtell.evaluate.dial_pairs import Kinship, sample_pair, true_spread
from dialtell.evaluate.plate_test import CANNOT_TELL, DIFFERENT, FEATURES, ONE_PLATE, SEPARATE, judge_pair, model_from
from dialtell.evaluate.plate_test import features as features_of
from dialtell.evaluate.registration import common_scale, register, sheet_of
from dialtell.model.photo import linear_light, luminance
from dialtell.model.reading import Reading, read_at
from dialtell.synth.scene import DialSpec, Range, render
from dialtell.train.bags import known_geometry
from dialtell.train.discrimination import delong
from dialtell.train.likelihood_ratio import validated_bounds
from dialtell.train.proportion import wilson

log = logging.getLogger("dialtell.plate_pairs")
SEED = 8_000_009
RESOLUTIONS_PER_MM = (15.0, 30.0, 60.0)
SAME = (Kinship.ONE_PLATE, Kinship.CUT_TWICE, Kinship.ONE_HAND, Kinship.TWO_HANDS)
APART = (Kinship.CUT_TWICE, Kinship.ONE_HAND, Kinship.TWO_HANDS)
COARSEST = 100.0
RADIUS_MM = 22.0


def scope_at(px_per_mm: float) -> Range:
    """Whole dials of about `px_per_mm` on an 18 size dial, by cameras of every kind."""
    middle = px_per_mm * RADIUS_MM
    return Range(
        pixels_per_radius=(0.9 * middle, 1.1 * middle), max_side=round(2.4 * middle), tilt=25.0, wear=(0.0, 0.5)
    )


def read_drawn(spec: DialSpec) -> Reading:
    """A drawn dial read at its outline, off as a finder's would be."""
    rng = np.random.default_rng([spec.seed, spec.index, 79])
    return read_at(luminance(linear_light(render(spec))), known_geometry(spec, rng=rng))


def rows_of(seed: int, index: int, px_per_mm: float) -> list[dict[str, Any]]:
    """One pair of each kinship measured; pairs of one process share their first dial."""
    readings: dict[DialSpec, Reading] = {}

    def reading_of(spec: DialSpec) -> Reading:
        if spec not in readings:
            readings[spec] = read_drawn(spec)
        return readings[spec]

    rows = []
    for kinship in Kinship:
        pair = sample_pair(seed, index, kinship, scope_at(px_per_mm))
        first, second = reading_of(pair.first), reading_of(pair.second)
        scale = common_scale(first, second)
        found = register(sheet_of(first, scale), sheet_of(second, scale))
        row: dict[str, Any] = {
            "index": index, "px_per_mm": px_per_mm, "kinship": str(kinship), "radius_mm": pair.first.design.radius_mm,
            "engraver": pair.first.making.plate.scatter, "scale": scale, "sites": 0, "share": 0.0, "spread": math.nan,
            "true_spread_mm": math.nan if kinship is Kinship.DIFFERENT else true_spread(pair),
            **dict.fromkeys(FEATURES, math.nan),
        }  # fmt: skip
        if found is not None:
            row |= {"sites": len(found.sites), "share": found.share, "spread": found.spread, "registration": found}
            row |= dict(zip(FEATURES, features_of(found), strict=True))
        rows.append(row)
    return rows


def fit(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The model's JSON from fitting rows: logistic regression at equal weight of both propositions."""
    from sklearn.linear_model import LogisticRegression

    unlike = [r["share"] for r in rows if r["kinship"] == Kinship.DIFFERENT]
    alike = [r["share"] for r in rows if r["kinship"] != Kinship.DIFFERENT and r["scale"] >= COARSEST]
    low, high = float(np.quantile(alike, 0.02)), float(np.quantile(unlike, 0.98))
    use = [r for r in rows if r["kinship"] in SAME and not math.isnan(r[FEATURES[0]]) and r["share"] >= max(low, high)]
    x = np.array([[r[name] for name in FEATURES] for r in use])
    y = np.array([r["kinship"] == Kinship.ONE_PLATE for r in use])
    middle, scale = x.mean(axis=0), x.std(axis=0) + 1e-9
    model = LogisticRegression(C=1.0, class_weight="balanced", max_iter=2000).fit((x - middle) / scale, y)
    weights = model.coef_[0] / scale
    ratio = (model.intercept_[0] + (x - middle) @ weights) / math.log(10)
    bounds = validated_bounds(ratio[y], ratio[~y])
    return {
        "schema": "dialtell.plate/1",
        "features": list(FEATURES),
        "offset": float(model.intercept_[0]),
        "weights": weights.tolist(),
        "middle": middle.tolist(),
        "low": bounds.low,
        "high": bounds.high,
        "alike": max(low, high),
        "unlike": min(low, high),
        "coarsest": COARSEST,
        "figures": {},
    }


def measure(rows: Sequence[dict[str, Any]], record: dict[str, Any]) -> list[dict[str, Any]]:
    """Figures by resolution: AUC, calls by kinship, error of the spread against the strokes' own."""
    model = model_from(record)
    table = []
    for resolution in sorted({r["px_per_mm"] for r in rows}):
        own = [r for r in rows if r["px_per_mm"] == resolution]
        verdicts = [judge_pair(r.get("registration"), model) for r in own]
        line: dict[str, Any] = {"px_per_mm": resolution}
        for kinship in Kinship:
            found = [v.finding for v, r in zip(verdicts, own, strict=True) if r["kinship"] == kinship]
            line[str(kinship)] = {"n": len(found)} | {
                name: found.count(name) for name in (ONE_PLATE, SEPARATE, DIFFERENT, CANNOT_TELL)
            }
        painted = [v.finding for v, r in zip(verdicts, own, strict=True) if "painted" in r["kinship"]]
        wrong = painted.count(ONE_PLATE)
        line["painted called one plate"] = [wrong, len(painted), *wilson(wrong, len(painted))] if painted else None
        truth, raw = _ratios(own, model)
        for name, apart in (("painted", APART[1:]), ("cut twice", APART[:1])):
            chosen = np.isin(truth, [str(Kinship.ONE_PLATE), *map(str, apart)])
            label = (truth[chosen] == str(Kinship.ONE_PLATE)).astype(int)
            if 0 < label.sum() < len(label):
                area, interval = delong(label, raw[chosen])
                line[f"AUC against {name}"] = [area, *interval]
        errors = np.array(
            [
                r["spread"] * r["radius_mm"] - r["true_spread_mm"]
                for r in own
                if r["kinship"] in SAME and r["share"] > 0.5
            ]
        )
        errors = errors[np.isfinite(errors)]
        if len(errors):
            line["spread error mm"] = {"n": len(errors), "median": float(np.median(errors)),
                                       "95 % of sizes below": float(np.quantile(np.abs(errors), 0.95))}  # fmt: skip
        table.append(line)
    return table


def _ratios(rows: Sequence[dict[str, Any]], model: Any) -> tuple[NDArray[np.str_], NDArray[np.float64]]:
    """Kinships and uncapped scores of the pairs that were laid on each other."""
    use = [r for r in rows if r["kinship"] in SAME and not math.isnan(r[FEATURES[0]])]
    x = np.array([[r[name] for name in FEATURES] for r in use]).reshape(-1, len(FEATURES))
    return np.array([r["kinship"] for r in use]), (x - np.array(model.middle)) @ np.array(model.weights)


def main(argv: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m dialtell.evaluate.plate_pairs", description=__doc__)
    parser.add_argument("--count", type=int, default=500, help="pairs of each kind and resolution that are measured")
    parser.add_argument("--fit", type=int, default=150, help="as many more that the model is fitted to")
    parser.add_argument("--px-per-mm", type=float, nargs="+", default=RESOLUTIONS_PER_MM)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    args.out.mkdir(parents=True, exist_ok=True)
    total = args.count + args.fit
    jobs = [(args.seed, index, resolution) for resolution in args.px_per_mm for index in range(total)]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(args.workers, mp_context=context, initializer=_quiet) as pool:
        orders = [pool.submit(rows_of, *job) for job in jobs]
        rows = [row for order in tqdm(orders, disable=None) for row in order.result()]
    with (args.out / "pairs.csv").open("w", newline="") as file:
        names = [name for name in rows[0] if name != "registration"]
        writer = csv.DictWriter(file, names, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)
    record = fit([row for row in rows if row["index"] < args.fit])
    table = measure([row for row in rows if row["index"] >= args.fit], record)
    record["figures"] = {"count": args.count, "seed": args.seed, "table": table}
    (args.out / "plate_test.json").write_text(json.dumps(record, indent=1), encoding="utf-8")
    print(json.dumps(table, indent=1))
    return 0


def _quiet() -> None:
    import cv2

    cv2.setNumThreads(1)


if __name__ == "__main__":
    sys.exit(main())
