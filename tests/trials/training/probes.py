"""Does anything but strokes tell the classes apart? Two probes of the renderer; neither should beat a coin.

surroundings : spec fields outside the making, and the picture with its strokes left out, against the process drawn.
edges : dials whose hands have no deviation and whose prints have no faults, through the whole camera, measured
    where the ink is: what is left could only come from the rasteriser, blur, noise or codec treating them apart.

Each is a ridge logistic regression, validated forward over folds of dials. Run:
    python tests/trials training/probes --dials 2000
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.util import find_spec
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dialtell.synth.design.layout import lay_out
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.terms import Kind, Process
from dialtell.synth.shared.workers import in_order
from dialtell.synth.strokes.transfer import Pull, displaced
from dialtell.train.stats.discrimination import delong

Floats = NDArray[np.float64]
Features = dict[str, float]

SMALL = Range(max_side=420, pixels_per_radius=(90.0, 190.0))
CLOSE = Range(max_side=420, pixels_per_radius=(90.0, 900.0), jitter=0.0, scatter=(0.0, 0.0), coated=False)
FOLDS = 10
RIDGE = 0.1  # inverse strength (C) of the penalty. On the control 0.003, 0.03, 0.1, 0.3 reach 0.72, 0.77, 0.79, 0.79
REACH = 6  # px a profile runs to each side
OUTSIDE = ("design", "view", "body", "hands", "wear", "light", "camera")
GRADIENT_BINS = np.array([0.0, 0.5, 1, 2, 3, 5, 8, 13, 21, 34, 55, 400])
STEP_BINS = np.array([0.0, 0.01, 0.02, 0.04, 0.08, 0.15, 0.3, 2.0])


@dataclass(frozen=True)
class ProbeResult:
    """What one probe found.

    dials : all drawn, the first tenth of them only to learn from; scored : the rest, behind the AUC.
    painted : of all. low, high : 95 % DeLong interval of `auc`. worst : features that tell most, alone.
    worst entries are (name, AUC alone, p after Bonferroni over all features).
    """

    probe: str
    dials: int
    scored: int
    painted: int
    features: int
    auc: float
    low: float
    high: float
    worst: tuple[tuple[str, float, float], ...]

    @property
    def clean(self) -> bool:
        """Whether a coin (AUC 0.5) lies inside the interval."""
        return self.low <= 0.5 <= self.high


# --- what is measured ---


def flat(record: Any, name: str = "") -> Iterator[tuple[str, float]]:
    """Plain values of a record as numbers: words one-hot, texts and lists by length, seeds left out."""
    leaf = name.rsplit(".", 1)[-1]
    if leaf == "seed":
        return
    if isinstance(record, dict):
        for key, value in record.items():
            yield from flat(value, f"{name}.{key}" if name else key)
    elif isinstance(record, list):
        yield f"{name}.count", float(len(record))
        for index, value in enumerate(record[:4]):
            yield from flat(value, f"{name}.{index}")
    elif isinstance(record, str):
        yield (f"{name}.length", float(len(record))) if leaf == "text" else (f"{name}={record}", 1.0)
    elif record is None:
        yield f"{name}=none", 1.0
    else:
        yield name, float(record)


def bare(spec: DialSpec) -> DialSpec:
    """The same picture with nothing on the enamel: body, wear, hands, light and camera stay."""
    empty = replace(
        spec.design, chapter=None, track=None, subdials=(), signature=(), centre_ring=0.0, further_tracks=(), rings=(),
        frames=None, spiral=None, edge=(),
    )  # fmt: skip
    return replace(spec, design=empty)


def picture_features(pixels: NDArray[np.uint8]) -> Features:
    """Levels, gradients, spectrum and JPEG blocks of a picture (H, W, 3)."""
    found: Features = {}
    values = pixels.reshape(-1, 3).astype(np.float32)
    for channel, name in enumerate("rgb"):
        found[f"mean {name}"], found[f"sd {name}"] = float(values[:, channel].mean()), float(values[:, channel].std())
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    down, across = np.diff(grey, axis=0)[:, :-1], np.diff(grey, axis=1)[:-1]
    size = np.hypot(down, across)
    for bin_, share in enumerate(np.histogram(size, GRADIENT_BINS)[0] / size.size):
        found[f"gradient {bin_}"] = float(share)
    for name, step, axis in (("down", np.abs(down), 0), ("across", np.abs(across), 1)):
        means = step.mean(axis=1 - axis)
        for phase in range(8):  # the grid is at phase 7 of an uncut JPEG
            found[f"block {name} {phase}"] = float(np.log((means[phase::8].mean() + 0.05) / (means.mean() + 0.05)))
    side = 32
    rows, columns = (length // side * side for length in grey.shape)
    tiles = (
        grey[:rows, :columns].reshape(rows // side, side, columns // side, side).swapaxes(1, 2).reshape(-1, side, side)
    )
    window = np.hanning(side)[:, None] * np.hanning(side)
    tiles = tiles - tiles.mean(axis=(1, 2), keepdims=True)
    power = (np.abs(np.fft.fft2(tiles * window)) ** 2).mean(axis=0)
    frequency = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.fftfreq(side)) * side
    for ring in range(1, 17):
        found[f"spectrum {ring}"] = float(
            np.log(power[(frequency >= ring - 0.5) & (frequency < ring + 0.5)].mean() + 1.0)
        )
    return found


def surroundings_features(spec: DialSpec) -> Features:
    """All of a spec outside its making, and its picture without strokes."""
    found = dict(flat({name: to_record(getattr(spec, name)) for name in OUTSIDE}))
    return found | {f"picture {name}": value for name, value in picture_features(render(bare(spec))).items()}


def without_deviation(spec: DialSpec) -> DialSpec:
    """Hands are drawn with jitter 0 already (`CLOSE`); take scatter, faults, grain and stretch from the prints."""
    making = spec.making
    pull = _faultless(making.pull)
    exposure = replace(
        making.exposure, edge_grains=0.0, spread_mm=0.0, specks=0.0, mottle=0.0, placing=_faultless(pull)
    )
    plate = replace(making.plate, scatter=0.0, widen=0.0, floor_um=0.0, shallow=0.0)
    return replace(spec, making=replace(making, pull=pull, exposure=exposure, plate=plate))


def _faultless(pull: Pull) -> Pull:
    return replace(
        pull, stretch=0.0, slip_mm=(0.0, 0.0), slip_share=0.0, inking=0.0, pinholes=0.0, bare=(), tears=(),
        roughness_um=0.0,
    )  # fmt: skip


def edge_features(spec: DialSpec) -> Features:
    """Profiles across and past the ends of the strokes of a rendered dial, where its design puts them."""
    pixels = render(spec)
    found = picture_features(pixels)
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    for name, (points, along) in _sites(spec).items():
        steps = np.arange(-REACH, REACH + 1)
        at = (points[:, None] + steps[:, None] * along[:, None]).astype(np.float32)
        inside = np.all((at >= 1) & (at < np.array(grey.shape[::-1]) - 1), axis=(1, 2))
        found[f"{name} seen"] = float(inside.mean()) if len(inside) else 0.0
        if inside.sum() < 4:
            found[f"{name} few"] = 1.0
            continue
        at = at[inside] - np.float32(0.5)  # cv2 puts the first pixel's centre at 0
        profile = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(np.float64)
        profile /= np.maximum(np.percentile(profile, 90, axis=1, keepdims=True), 1.0)
        for step, level in zip(steps, profile.mean(axis=0), strict=True):
            found[f"{name} profile {step}"] = float(level)
        found[f"{name} skew"] = float((profile[:, REACH + 1 :] - profile[:, REACH - 1 :: -1]).std())
        for q in (2, 10, 25, 50, 75, 90, 98):
            found[f"{name} level {q} %"] = float(np.percentile(profile[:, REACH], q))
        found[f"{name} level sd"] = float(profile[:, REACH].std())
        steepest = np.abs(np.diff(profile, axis=1)).max(axis=1)
        for bin_, share in enumerate(np.histogram(steepest, STEP_BINS)[0] / len(steepest)):
            found[f"{name} slope {bin_}"] = float(share)
    return found


def _sites(spec: DialSpec) -> dict[str, tuple[Floats, Floats]]:
    """Points (N, 2) px on strokes and the unit direction (N, 2) a profile takes there, by what it crosses."""
    matrix, sheet = homography(spec.view), replace(spec.making.pull, stretch=0.0)
    found: dict[str, list[tuple[Floats, Floats]]] = {name: [] for name in ("tick", "ring", "stroke", "end", "tick end")}
    for item in lay_out(spec.design):
        for stroke in item.strokes:
            path = to_px(matrix, displaced(stroke.path, sheet))
            places = np.linspace(0.02, 0.98, 48) if stroke.kind is Kind.RING else np.array([0.25, 0.5, 0.75])
            at = places * (len(path) - 1)
            ends = [_along(path, at + shift) for shift in (-0.2, 0.2)]
            tangent = _unit(ends[1] - ends[0])
            name = {Kind.TICK: "tick", Kind.RING: "ring"}.get(stroke.kind, "stroke")
            found[name].append((_along(path, at), np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)))
            if stroke.kind is not Kind.RING:
                outward = _unit(np.stack([path[0] - path[1], path[-1] - path[-2]]))
                found["tick end" if name == "tick" else "end"].append((path[[0, -1]], outward))
    nothing = np.empty((0, 2))
    return {
        name: (np.concatenate([p for p, _ in parts]), np.concatenate([d for _, d in parts]))
        if parts
        else (nothing,) * 2
        for name, parts in found.items()
    }


def _along(path: Floats, at: Floats) -> Floats:
    index = np.arange(len(path))
    return np.stack([np.interp(at, index, path[:, 0]), np.interp(at, index, path[:, 1])], axis=1)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.maximum(np.linalg.norm(vector, axis=1, keepdims=True), 1e-9))


# --- the probes ---


def surroundings_row(index: int, seed: int) -> tuple[int, Features]:
    """One dial of the first probe: 1 painted or 0 printed, and its features."""
    spec = sample_spec(seed, index, SMALL)
    return int(spec.making.processes[0] is Process.HAND), surroundings_features(spec)


def edges_row(index: int, seed: int, deviating: bool = False) -> tuple[int, Features]:
    """One dial of the second probe. deviating : leave hands and prints as drawn, to see that the probe can tell."""
    scope = replace(CLOSE, jitter=1.0, scatter=(0.0, 1.0)) if deviating else CLOSE
    spec = sample_spec(seed, index, scope)
    painted = int(spec.making.processes[0] is Process.HAND)
    return painted, edge_features(spec if deviating else without_deviation(spec))


Row = Callable[..., tuple[int, Features]]  # (index, seed)
PROBES: dict[str, Row] = {
    "surroundings": surroundings_row,
    "edges": edges_row,
    "control": partial(edges_row, deviating=True),
}


def table(rows: Sequence[Features]) -> tuple[list[str], Floats]:
    """Names of all features that vary, and (N, F) values; what a dial lacks is 0."""
    names = sorted({name for row in rows for name in row})
    values = np.array([[row.get(name, 0.0) for name in names] for row in rows])
    varies = np.ptp(values, axis=0) > 1e-9
    return [name for name, keep in zip(names, varies, strict=True) if keep], values[:, varies]


def forward_scores(labels: NDArray[np.int64], values: Floats, *, folds: int = FOLDS) -> Floats:
    """Score of every dial (N,) by a model fitted to the folds before its own, as rank 0..1 within the fold.

    Dial i is in fold i mod `folds`; the first fold only teaches and comes back NaN. Ranks, since the scales of two
    models differ. Forward, since folds that teach each other both ways share their luck: on pure noise their pooled
    AUC scatters up to 1.7 times as widely as DeLong's interval says (60 sets of 400 dials, 60 features).
    """
    from sklearn.linear_model import LogisticRegression

    fold = np.arange(len(labels)) % folds
    scores = np.full(len(labels), np.nan)
    for held in range(1, folds):
        seen, chosen = fold < held, fold == held
        if len(set(labels[seen].tolist())) < 2:
            raise ParameterError(
                f"dials is {len(labels)}; the first {seen.sum()} to learn from are all of one kind; give more dials"
            )
        middle, spread = values[seen].mean(axis=0), values[seen].std(axis=0)
        scaled = np.clip((values - middle) / np.where(spread > 0, spread, 1.0), -4.0, 4.0)
        model = LogisticRegression(C=RIDGE, class_weight="balanced", max_iter=3000)
        model.fit(scaled[seen], labels[seen])
        scores[chosen] = stats.rankdata(model.decision_function(scaled[chosen])) / (chosen.sum() + 1.0)
    return scores


def judge(probe: str, labels: Sequence[int], rows: Sequence[Features], *, shown: int = 5) -> ProbeResult:
    """Cross-validate and say which features tell most."""
    truth = np.asarray(labels)
    if min(truth.sum(), len(truth) - truth.sum()) < 2 * FOLDS:
        raise ParameterError(f"dials is {len(truth)}; give at least 60, so that every fold holds both kinds")
    names, values = table(rows)
    scores = forward_scores(truth, values)
    scored = ~np.isnan(scores)
    area, (low, high) = delong(truth[scored], scores[scored])
    worst = _telling(truth, names, values)[:shown]
    return ProbeResult(probe, len(truth), int(scored.sum()), int(truth.sum()), len(names), area, low, high, worst)


def _telling(truth: NDArray[np.int64], names: list[str], values: Floats) -> tuple[tuple[str, float, float], ...]:
    """Features by Mann-Whitney AUC alone, the most telling first."""
    painted, printed = values[truth == 1], values[truth == 0]
    test = stats.mannwhitneyu(painted, printed, axis=0, method="asymptotic")
    alone = test.statistic / (len(painted) * len(printed))
    order = np.argsort(test.pvalue)
    return tuple((names[i], float(alone[i]), float(min(1.0, test.pvalue[i] * len(names)))) for i in order)


def run(probe: str, *, dials: int, seed: int, workers: int) -> ProbeResult:
    """Render dials, measure and judge: `dials` to score and a ninth more to learn from first.

    Results do not depend on `workers`.
    """
    measure = partial(PROBES[probe], seed=seed)
    dials = -(-dials * FOLDS // (FOLDS - 1))
    found = list(in_order(measure, range(dials), workers, ahead=10))
    return judge(probe, [label for label, _ in found], [row for _, row in found])


def report(finding: ProbeResult) -> str:
    """Two lines and the most telling features."""
    verdict = "0.5 lies inside: nothing found" if finding.clean else "0.5 lies OUTSIDE"
    lines = [
        f"{finding.probe}: AUC {finding.auc:.3f} [{finding.low:.3f}, {finding.high:.3f}]  {verdict}",
        f"  {finding.scored} dials scored of {finding.dials} ({finding.painted} painted), {finding.features} features",
    ]
    lines += [f"  {name}: alone {area:.3f}, p {p:.2g} over all features" for name, area, p in finding.worst]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """0 when a coin does as well in both probes, 1 when not, 2 when scikit-learn is missing."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials training/probes",
        description="Look for anything but strokes that tells hand from print.",
    )
    parser.add_argument(
        "--dials", type=int, default=2000, metavar="N", help="dials scored by each probe (default: 2000)"
    )
    parser.add_argument("--workers", type=int, default=1, metavar="N", help="processes (default: 1)")
    parser.add_argument("--seed", type=int, default=4101, metavar="N", help="of the dials (default: 4101)")
    parser.add_argument("--probe", choices=tuple(PROBES), action="append", help="one probe; may be repeated (default: "
                        "surroundings, edges); control is edges with deviations on and ought to tell")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    given = parser.parse_args(arguments)
    if find_spec("sklearn") is None:
        print("probes need scikit-learn: pip install scikit-learn", file=sys.stderr)
        return 2
    os.environ["OMP_NUM_THREADS"] = "1"  # inherited by the workers, whose numpy is not loaded yet
    cv2.setNumThreads(1)
    findings = []
    for probe in given.probe or ["surroundings", "edges"]:
        findings.append(run(probe, dials=given.dials, seed=given.seed, workers=given.workers))
        if not given.json:
            print(report(findings[-1]), flush=True)
    if given.json:
        print(json.dumps([{**to_record(finding), "clean": finding.clean} for finding in findings], indent=1))
    return int(not all(finding.clean for finding in findings if finding.probe != "control"))


if __name__ == "__main__":
    sys.exit(main())
