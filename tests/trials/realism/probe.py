"""A probe that tells patches of real photographs from drawn ones, and what gives them away.

    python tests/trials realism/probe --photos DIR DIR --list FILE.csv FILE.csv --count 200 --sheet /tmp/probe.png

Logistic regression on (a) the net's codes of patches and (b) plain statistics of them (patch_statistics.py). The
photographs of a fold are judged by a model that saw no other of their cluster (one dealer or series) either; folds by
photograph alone, where a dealer's pictures teach each other, are told beside that. Real and drawn count alike, and each
photograph as much as any other. Drawn dials resolve what the real ones do, read by the same reader. 0.5: drawn patches
cannot be told from real ones; the aim is 0.60 and less by patch. The product never learns from such a probe.

--range finished=0 mastered=0 : draw with these fields of the Range, where the renderer has them. dials.py says what a
list holds. --sheet : a picture of the real patches that look most real and the drawn ones that look most drawn.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from trials.realism.dials import (
    Dial,
    add_flags,
    drawn_dials,
    grouped,
    one_thread,
    outside,
    real_dials,
    reported,
    scope_of,
)
from trials.realism.patch_statistics import NAMES, patch_statistics
from trials.realism.photograph_statistics import NAMES as OF_WHOLE
from trials.realism.photograph_statistics import photograph_statistics

from dialtell.evaluate.words.document import json_text
from dialtell.model.net.weights_file import Weights, load_weights
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import DialtellError, ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.stats.clustered import clustered_auc
from dialtell.train.stats.discrimination import auc

Floats = NDArray[np.float64]

SCHEMA = "dialtell.realism-probe/1"
MOST = 40  # patches of a photograph
FOLDS, REPEATS = 5, 4  # of the folds, drawn anew: real clusters are few
RIDGE = {"codes": 0.01, "statistics": 0.1}  # C of the logistic regression
DRAWS = 500  # of the bootstrap
SHOWN, OF_ONE, COLUMNS, TIMES = 24, 2, 8, 3  # patches of a kind on the sheet, of one photograph, in a row; scale


@dataclass(frozen=True, eq=False)
class Patches:
    """Patches of all photographs. real : (N,) true for real ones. photo, cluster : (N,) names. index : (N,) within the
    photograph's own patches. zone : (N,) index into ZONES. resolution : (N,) log2 px resolved per patch px.
    density : (N, S, S). values : by probe, (N, F). whole : statistics of each photograph, by its name."""

    real: NDArray[np.bool_]
    photo: NDArray[np.str_]
    cluster: NDArray[np.str_]
    index: NDArray[np.int64]
    zone: NDArray[np.int64]
    resolution: Floats
    density: NDArray[np.float32]
    values: dict[str, Floats]
    whole: dict[str, Floats]


def gather(dials: Iterable[tuple[bool, Dial]], weights: Weights, *, most: int = MOST) -> Patches:
    """At most `most` patches of every dial, drawn by its name, with codes and statistics.

    dials : (real, dial). ParameterError where there are fewer than FOLDS real or drawn ones with patches.
    """
    parts = []
    whole = {}
    for real, dial in dials:
        own = dial.reading.patches
        rng = np.random.default_rng(zlib.crc32(dial.name.encode()))
        chosen = np.sort(rng.permutation(len(own))[:most])
        if len(chosen):
            whole[dial.name] = photograph_statistics(dial)
            parts.append((real, dial.name, dial.cluster, chosen, own.zone[chosen], own.resolution, own.density[chosen]))
    kinds = [part[0] for part in parts]
    if min(kinds.count(True), kinds.count(False)) < FOLDS:
        raise ParameterError(f"{kinds.count(True)} real and {kinds.count(False)} drawn dials; give at least {FOLDS}")
    count = [len(part[3]) for part in parts]

    def each(place: int) -> NDArray[Any]:
        return np.repeat(np.array([part[place] for part in parts]), count)

    density = np.concatenate([part[6] for part in parts])
    with torch.inference_mode():
        codes = weights.net.eval().encode(torch.from_numpy(density))[:, : weights.net.config.code]
    return Patches(
        each(0), each(1), each(2), np.concatenate([part[3] for part in parts]),
        np.concatenate([part[4] for part in parts]), each(5), density,
        {"codes": codes.numpy().astype(np.float64), "statistics": patch_statistics(density)}, whole,
    )  # fmt: skip


def fitted(values: Floats, patches: Patches, seen: NDArray[np.bool_], ridge: float) -> tuple[Floats, Floats]:
    """Scores (N,) of all patches by a model fitted to those seen, and its weights (F,), a unit being a SD."""
    from sklearn.linear_model import LogisticRegression

    middle, spread = np.nanmedian(values[seen], axis=0), np.nanstd(values[seen], axis=0)
    scaled = np.clip((values - middle) / np.where(spread > 0, spread, 1.0), -4.0, 4.0)
    scaled = np.where(np.isnan(scaled), 0.0, scaled)
    _, member, size = np.unique(patches.photo[seen], return_inverse=True, return_counts=True)
    weight = 1.0 / size[member]  # a photograph as much as any other, real as much as drawn
    for kind in (True, False):
        own = patches.real[seen] == kind
        weight[own] *= 0.5 * seen.sum() / weight[own].sum()
    model = LogisticRegression(C=ridge, max_iter=3000).fit(scaled[seen], patches.real[seen], sample_weight=weight)
    return model.decision_function(scaled), model.coef_[0]


def held_out(values: Floats, patches: Patches, ridge: float, group: NDArray[np.str_]) -> Floats:
    """(N,) mean score of every patch by REPEATS models that saw none of its group; positive speaks for real."""
    from sklearn.model_selection import StratifiedGroupKFold

    scores = np.zeros(len(values))
    for repeat in range(REPEATS):
        folds = StratifiedGroupKFold(FOLDS, shuffle=True, random_state=repeat)
        for _, held in folds.split(values, patches.real, group):
            seen = np.ones(len(values), dtype=bool)
            seen[held] = False
            scores[held] += fitted(values, patches, seen, ridge)[0][held] / REPEATS
    return scores


def area(real: NDArray[np.bool_], scores: Floats, cluster: NDArray[np.str_]) -> dict[str, Any]:
    """AUC with its interval over clusters."""
    found = clustered_auc(real, scores, cluster, rng=np.random.default_rng(0), draws=DRAWS)
    span = None if found.interval is None else [round(v, 3) for v in found.interval]
    return {"auc": round(found.value, 3), "interval_95": span, "n": found.n, "clusters": found.clusters}


def probed(patches: Patches, name: str, not_enamel: frozenset[str] = frozenset()) -> tuple[dict[str, Any], Floats]:
    """What one probe gives, and the held-out score of every patch. not_enamel : real dials known to be none."""
    scores = held_out(patches.values[name], patches, RIDGE[name], patches.cluster)
    loose = held_out(patches.values[name], patches, RIDGE[name], patches.photo)
    photos, mean = grouped(scores, patches.photo)
    first = np.unique(patches.photo, return_index=True)[1]
    real, cluster = patches.real[first], patches.cluster[first]
    left = ~np.isin(photos, list(not_enamel))
    found = {
        "by_patch": area(patches.real, scores, patches.cluster),
        "by_photograph": area(real, mean, cluster),
        "by_photograph_enamel_only": area(real[left], mean[left], cluster[left]),
        "by_patch_folds_by_photograph": area(patches.real, loose, patches.cluster),
        "by_photograph_folds_by_photograph": area(real, grouped(loose, patches.photo)[1], cluster),
        "by_zone": {
            zone.value: {"auc": round(auc(patches.real[own], scores[own]), 3), "n": int(own.sum())}
            for number, zone in enumerate(ZONES)
            if 0 < patches.real[own := patches.zone == number].sum() < own.sum()
        },
        "photographs": {
            str(photo): round(float(score), 2)
            for photo, score in sorted(zip(photos[real], mean[real], strict=True), key=lambda item: -item[1])
        },
        "most_real": _extreme(patches, np.where(patches.real, scores, -np.inf)),
        "most_drawn": _extreme(patches, np.where(patches.real, -np.inf, -scores)),
    }
    return found, scores


def _extreme(patches: Patches, scores: Floats) -> list[dict[str, Any]]:
    """The SHOWN patches with the highest scores, at most OF_ONE of a photograph."""
    taken: dict[str, int] = {}
    found: list[dict[str, Any]] = []
    for place in np.argsort(-scores):
        photo = str(patches.photo[place])
        if np.isfinite(scores[place]) and len(found) < SHOWN and taken.get(photo, 0) < OF_ONE:
            taken[photo] = taken.get(photo, 0) + 1
            zone, score = ZONES[patches.zone[place]].value, round(float(scores[place]), 2)
            found.append({"photo": photo, "patch": int(patches.index[place]), "row": int(place), "zone": zone,
                          "score": score})  # fmt: skip
    return found


def telling(patches: Patches) -> dict[str, dict[str, Any]]:
    """Each statistic alone: AUC by patch and by photograph (above 0.5: real ones have more), its medians, and its
    weight beside all others; the most telling first."""
    values = patches.values["statistics"]
    weights = fitted(values, patches, np.ones(len(values), dtype=bool), RIDGE["statistics"])[1]
    found = {}
    for place, name in enumerate(NAMES):
        one = values[:, place]
        there = ~np.isnan(one)
        if not 0 < patches.real[there].sum() < there.sum():
            continue
        photos, mean = grouped(one[there], patches.photo[there])
        real = np.isin(photos, patches.photo[patches.real])
        alone = area(real, mean, patches.cluster[there][np.unique(patches.photo[there], return_index=True)[1]])
        found[name] = {
            "by_patch": round(auc(patches.real[there], one[there]), 3), "by_photograph": alone["auc"],
            "by_photograph_interval_95": alone["interval_95"],
            "real": round(float(np.median(one[there & patches.real])), 4),
            "drawn": round(float(np.median(one[there & ~patches.real])), 4), "weight": round(float(weights[place]), 3),
        }  # fmt: skip
    return dict(sorted(found.items(), key=lambda item: -abs(item[1]["by_patch"] - 0.5)))


def telling_whole(patches: Patches) -> dict[str, dict[str, Any]]:
    """Likewise of each statistic of whole photographs, with its 10th, 50th and 90th percentile."""
    photos, first = np.unique(patches.photo, return_index=True)
    values = np.array([patches.whole[photo] for photo in photos])
    real, cluster = patches.real[first], patches.cluster[first]
    found = {}
    for place, name in enumerate(OF_WHOLE):
        one = values[:, place]
        there = ~np.isnan(one)
        spans = {
            kind: [round(float(v), 2) for v in np.quantile(one[there & own], (0.1, 0.5, 0.9))]
            for kind, own in (("real", real), ("drawn", ~real))
        }
        found[name] = area(real[there], one[there], cluster[there]) | spans
    return dict(sorted(found.items(), key=lambda item: -abs(item[1]["auc"] - 0.5)))


def sheet(patches: Patches, found: Mapping[str, Any]) -> Image.Image:
    """Real patches that look most real, then drawn ones that look most drawn; the ground at 200 of 255, full density
    at 20, so that halos lighter than the ground show."""
    side = TIMES * patches.density.shape[1]
    rows = -(-SHOWN // COLUMNS)
    board = Image.new("L", (COLUMNS * (side + 6), 2 * (rows * (side + 20) + 24)), 255)
    pen = ImageDraw.Draw(board)
    for half, key in enumerate(("most_real", "most_drawn")):
        top = half * (rows * (side + 20) + 24)
        pen.text((4, top + 6), key.replace("_", " ") + (" of the real" if not half else " of the drawn"), fill=0)
        for place, one in enumerate(found[key]):
            x, y = place % COLUMNS * (side + 6), top + 24 + place // COLUMNS * (side + 20)
            grey = np.clip(200.0 - 180.0 * patches.density[one["row"]], 0, 255).astype(np.uint8)
            board.paste(Image.fromarray(grey).resize((side, side), Image.Resampling.NEAREST), (x, y))
            pen.text((x + 2, y + side + 2), f"{one['photo'][:18]} {one['patch']} {one['zone'][:8]}", fill=0)
    return board


def table(document: Mapping[str, Any]) -> str:
    """The figures in lines."""
    counts = document["photographs"]
    lines = [f"{counts['real']} real photographs in {counts['clusters']} clusters, {counts['drawn']} drawn by renderer "
             f"{document['renderer']}; patches {document['patches']['real']} and {document['patches']['drawn']}; "
             f"resolution alone {document['resolution_alone']:.2f} (0.5: matched)"]  # fmt: skip
    for name, one in document["probes"].items():
        lines += ["", f"by {name}:"]
        for key in (key for key in one if key.startswith(("by_patch", "by_photograph"))):
            span = one[key]["interval_95"]
            said = "" if span is None else f" ({span[0]:.3f} to {span[1]:.3f})"
            lines.append(f"  {key.replace('_', ' '):<36}{one[key]['auc']:.3f}{said}, n {one[key]['n']}")
        lines.append("  by zone: " + ", ".join(f"{zone} {v['auc']:.2f} (n {v['n']})"
                                               for zone, v in one["by_zone"].items()))  # fmt: skip
        each = ", ".join(f"{photo} {v:+.1f}" for photo, v in one["photographs"].items())
        lines.append(f"  most real to least: {each}")
    lines += ["", f"{'statistic':<26}{'patch':>7}{'photo':>7} {'interval':<18}{'real':>9}{'drawn':>9}{'weight':>8}"]
    for name, one in document["statistics"].items():
        span = one["by_photograph_interval_95"]
        said = "" if span is None else f"{span[0]:.2f} to {span[1]:.2f}"
        lines.append(f"{name:<26}{one['by_patch']:>7.2f}{one['by_photograph']:>7.2f} {said:<18}{one['real']:>9.3f}"
                     f"{one['drawn']:>9.3f}{one['weight']:>+8.2f}  {NAMES[name]}")  # fmt: skip
    lines += ["", f"{'of whole photographs':<26}{'AUC':>7} {'interval':<18}{'real, 10 50 90 %':>24}{'drawn':>24}"]
    for name, one in document["whole"].items():
        said = "" if one["interval_95"] is None else "{:.2f} to {:.2f}".format(*one["interval_95"])
        spans = "".join(" ".join(f"{v:7.2f}" for v in one[kind]).rjust(24) for kind in ("real", "drawn"))
        lines.append(f"{name:<26}{one['auc']:>7.2f} {said:<18}{spans}  {OF_WHOLE[name]}")
    lines += [f"left out: {name}: {reason}" for name, reason in document["left_out"].items()]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Probe and print; exit status 1 where something cannot be read, 2 without scikit-learn."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials realism/probe", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    add_flags(parser)
    parser.add_argument("--count", type=int, default=200, metavar="N", help="dials drawn (default: 200)")
    parser.add_argument("--sheet", type=Path, metavar="FILE.png", help="outside the project")
    args = parser.parse_args(arguments)
    if find_spec("sklearn") is None:
        print("the probe needs scikit-learn: pip install scikit-learn", file=sys.stderr)
        return 2
    one_thread()
    try:
        for path in (args.json, args.sheet):
            if path is not None:
                outside(path)
        scope = scope_of(args.words)
        real, left_out = real_dials(args.lists, args.photos)
        drawn = drawn_dials(args.count, [dial.resolved for dial in real], scope, seed=args.seed)
        both = [(True, dial) for dial in real]
        patches = gather((*both, *((False, dial) for dial in drawn)), load_weights())
    except (DialtellError, OSError) as error:
        return reported("probe", error)
    not_enamel = frozenset(dial.name for dial in real if not dial.enamel)
    probes = {name: probed(patches, name, not_enamel)[0] for name in RIDGE}
    first = np.unique(patches.photo, return_index=True)[1]
    document = {
        "schema": SCHEMA, "renderer": RENDERER_VERSION, "range": args.words, "probes": probes,
        "photographs": {"real": int(patches.real[first].sum()), "drawn": int((~patches.real[first]).sum()),
                        "clusters": len(set(patches.cluster[patches.real].tolist()))},
        "patches": {"real": int(patches.real.sum()), "drawn": int((~patches.real).sum())},
        "resolution_alone": round(auc(patches.real[first], patches.resolution[first]), 3),
        "statistics": telling(patches), "whole": telling_whole(patches), "left_out": left_out,
    }  # fmt: skip
    print(table(document))
    if args.json is not None:
        args.json.write_text(json_text(document) + "\n", encoding="utf-8")
    if args.sheet is not None:
        sheet(patches, probes["statistics"]).save(args.sheet)
        other = args.sheet.with_stem(args.sheet.stem + "-codes")
        sheet(patches, probes["codes"]).save(other)
        print(f"sheets: {args.sheet} (by statistics), {other} (by codes)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
