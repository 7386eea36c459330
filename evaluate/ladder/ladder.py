"""The ladder: rungs of drawn dials of rising difficulty, read once and judged with any number of weights.

    dialtell benchmark --ladder runs/study --out runs/ladder --count 2000

Weights are .safetensors files, folders that hold some, or folders of a study, whose baselines are measured too. Nets
that differ in nothing but their seed are also pooled. It grades nets on our own renderer's dials: no proof for
photographs.
"""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.ladder.dials import RungCalls, RungDial, read_rungs, tell
from dialtell.evaluate.ladder.figures import (
    Truth,
    curve,
    dials_of,
    figures,
    flips,
    pooled,
    share_row,
    splits,
    zones_of,
)
from dialtell.evaluate.ladder.rungs import Rung, frozen, rung_hash, rungs_named
from dialtell.evaluate.words.document import json_text
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.tables import rows_text
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags.bags import FEWEST_PATCHES
from dialtell.train.stats.call_figures import joined

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.ladder/1"
log = logging.getLogger("dialtell.ladder")

AT_ONCE = 48  # dials judged together
NO_WAY = ("seed", "net", "device", "workers")  # settings in which nets trained alike may differ
MEASURED = ("undetermined", "coverage", "accuracy", "auc", "brier", "ece", "cllr")


def run_ladder(
    weights_folders: Sequence[str | os.PathLike[str] | None],
    *,
    out: Path,
    count: int = 2000,
    workers: int = 0,
    rungs: str | None = None,
    device: str = "auto",
) -> dict[str, Any]:
    """Draw, read and judge; write ladder.json, ladder.csv, ladder_dials.npz and plots into `out`, and return the
    document.

    weights_folders : see gather_weights; None for those shipped. count : dials a rung. rungs : letters, None for all.
    """
    from dialtell.evaluate.ladder.plots import plots
    from dialtell.evaluate.plots.style import write_plots
    from dialtell.model.net.device import pick_device

    if count < 8:
        raise ParameterError(f"count is {count}; give at least 8")
    chosen = rungs_named(rungs)
    weights = gather_weights(weights_folders)
    place, reason = pick_device(device)
    log.info("device %s: %s; %d rungs of %d dials, %d nets", place, reason, len(chosen), count, len(weights))
    out.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    truths: dict[str, Truth] = {}
    told: dict[str, list[RungCalls]] = {}
    wanted = [(rung.letter, index) for rung in chosen for index in range(count)]
    coming = read_rungs(wanted, workers or len(os.sched_getaffinity(0)))
    kinds = groups(weights)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "renderer_version": RENDERER_VERSION,
        "count": count,
        "nets": {name: {**one.identity, "kind": kind_of(one)} for name, one in weights.items()},
        "kinds": kinds,
        "rungs": {},
    }
    for rung in chosen:
        truths[rung.letter], told[rung.letter] = _climb(rung, count, coming, list(weights.values()), place)
        judged = time.monotonic() - began
        part = dict(zip(weights, told[rung.letter], strict=True))
        document["rungs"][rung.letter] = _rung_record(rung, truths[rung.letter], part, kinds)
        document["seconds"] = round(time.monotonic() - began, 1)
        log.info("rung %s: judged after %.0f s, measured after %.0f s", rung.letter, judged, document["seconds"])
        write_text(out / "ladder.json", json_text(document) + "\n", overwrite=True)  # kept if a later rung is cut off
        write_text(out / "ladder.csv", table(document), overwrite=True)
    _write_dials(out / "ladder_dials.npz", truths, {key: dict(zip(weights, v, strict=True)) for key, v in told.items()})
    write_plots(out, plots(document, truths, told, list(weights), kinds), overwrite=True)
    return document


def gather_weights(places: Sequence[str | os.PathLike[str] | None]) -> dict[str, Weights]:
    """Weights by a short name, from files, folders with weights, and folders of a study (its members, baselines too).

    Raises WeightsError where a place holds none.
    """
    from dialtell.model.net.weights_file import SHIPPED, load_weights
    from dialtell.train.study.baselines import SCHEMA as BASELINE
    from dialtell.train.study.baselines import load_baseline

    found: dict[str, Weights] = {}
    for place in places:
        path = SHIPPED if place is None or str(place) == "shipped" else Path(place)
        files = [path]
        if path.is_dir():
            files = sorted({*path.glob("*.safetensors"), *path.glob("*/*.safetensors")})
            files = [file for file in files if file.with_suffix(".json").is_file()]
        if not files:
            raise WeightsError(f"{path}: no weights there, a .safetensors file with its .json beside it is needed")
        for file in files:
            described = file.with_suffix(".json")
            kind = json.loads(described.read_text("utf-8")).get("schema") if described.is_file() else None
            one = load_baseline(file) if kind == BASELINE else load_weights(file)
            name = (
                "shipped"
                if file == SHIPPED
                else file.parent.name
                if path.is_dir() and file.parent != path
                else one.name
            )
            while name in found:
                name += "'"
            found[name] = one
    return found


def kind_of(weights: Weights) -> str:
    """What nets of one kind share: all but their seed."""
    if "kind" in weights.record:
        return str(weights.record["kind"])
    size = weights.net.config
    return "strokes" if size.spread and size.texture else "texture alone" if size.texture else "repetition alone"


def groups(weights: Mapping[str, Weights]) -> dict[str, list[str]]:
    """Names of nets that differ in nothing but their seed, by kind; our own net first.

    A kind trained in several ways (the shipped weights beside new ones) keeps its name for the most nets, the others
    are named after their first.
    """
    alike: dict[str, dict[str, list[str]]] = {}
    for name, one in weights.items():
        training = one.record.get("training", {})
        config = {key: value for key, value in training.get("config", {}).items() if key not in NO_WAY}
        way = json.dumps([config, one.record.get("renderer_version"), training.get("epochs")], sort_keys=True)
        alike.setdefault(kind_of(one), {}).setdefault(way, []).append(name)
    found: dict[str, list[str]] = {}
    for kind in sorted(alike, key=lambda kind: kind != "strokes"):
        ways = sorted(alike[kind].values(), key=len, reverse=True)
        found |= {kind if number == 0 else f"{kind} ({names[0]})": names for number, names in enumerate(ways)}
    return found


def _climb(
    rung: Rung, count: int, coming: Any, weights: Sequence[Weights], device: Any
) -> tuple[Truth, list[RungCalls]]:
    """One rung: take its dials as they come, judge them, keep numbers alone."""
    kept: list[RungDial] = []
    hands, zone_hands, readable, scale, true = [], [], [], [], []
    parts: list[list[RungCalls]] = [[] for _ in weights]
    for index in range(count):
        dial = next(coming)
        assert (dial.letter, dial.index) == (rung.letter, index)
        kept.append(dial)
        hands.append(dial.bag.dial)
        zone_hands.append(dial.bag.hand)
        readable.append(len(dial.bag.zone) >= FEWEST_PATCHES)
        scale.append(dial.px_per_mm)
        true.append(dial.px_per_mm * dial.true / max(dial.stored, 1e-9))
        if len(kept) == AT_ONCE or index == count - 1:
            for part, told in zip(parts, tell(kept, weights, device), strict=True):
                part.append(told)
            kept = []
    truth = Truth(
        hand=np.array(hands, np.int8),
        zone_hand=np.array(zone_hands, np.int8),
        cluster=np.array([rung.cluster(index) for index in range(count)]),
        px_per_mm=np.array(scale),
        true_px_per_mm=np.array(true),
        readable=np.array(readable),
    )
    fields = tuple(vars(parts[0][0]))
    return truth, [
        RungCalls(**{name: np.concatenate([vars(t)[name] for t in part]) for name in fields}) for part in parts
    ]


def _rung_record(
    rung: Rung, truth: Truth, told: Mapping[str, RungCalls], kinds: Mapping[str, list[str]]
) -> dict[str, Any]:
    hashed = rung_hash(rung)
    record: dict[str, Any] = {
        "title": rung.title,
        "seed": rung.seed,
        "sha256": hashed,
        "as_frozen": frozen().get(rung.letter) == hashed,
        "dials": len(truth.hand),
        "readable": int(truth.readable.sum()),
        "median_px_per_mm": round(float(np.median(truth.px_per_mm)), 1),
        "median_true_px_per_mm": round(float(np.median(truth.true_px_per_mm)), 1),
        "nets": {},
        "kinds": {},
    }
    for name, one in told.items():
        record["nets"][name] = _figures(rung, truth, [one])
    for kind, names in kinds.items():
        whole = _figures(rung, truth, [told[name] for name in names]) if len(names) > 1 else record["nets"][names[0]]
        key = "zones" if rung.letter == "F" else "dials"
        for split in whole[key]:
            seeds = pooled({name: record["nets"][name][key][split] for name in names})
            whole = {**whole, key: {**whole[key], split: {**whole[key][split], "over_seeds": seeds}}}
        record["kinds"][kind] = {"nets": names, **whole}
    return record


def _figures(rung: Rung, truth: Truth, told: Sequence[RungCalls]) -> dict[str, Any]:
    """Figures of one net, or of several pooled, on one rung."""
    pure = truth.hand >= 0
    result: dict[str, Any] = {}
    if rung.letter == "F":
        zones = {"all": figures(joined([zones_of(truth, one) for one in told]))}
        for number, zone in enumerate(ZONES):
            zones[str(zone)] = figures(joined([zones_of(truth, one, number) for one in told]))
        called = np.concatenate([one.call[~pure] for one in told])
        clusters = np.concatenate([truth.cluster[~pure]] * len(told))
        return {"zones": zones, "mixed_dials_undetermined": share_row(called < 0, clusters)}
    answers = joined([dials_of(truth, one) for one in told])
    result["dials"] = {
        name: figures(answers.chosen(np.tile(mask[pure], len(told)))) for name, mask in splits(truth).items()
    }
    if rung.twins:
        result["twins"] = flips(truth, told)
    if rung.letter == "D":
        result["curve"] = curve(answers, np.tile(truth.px_per_mm[pure], len(told)))
    return result


def table(document: Mapping[str, Any]) -> str:
    """CSV: a row for each rung, net or kind, and split."""
    columns = ["rung", "who", "of", "n", "dials", "judged", "decided", "right"]
    columns += [f"{name}{end}" for name in MEASURED for end in ("", "_low", "_high")]
    rows: list[list[object]] = [[*columns]]
    for letter, rung in document["rungs"].items():
        for level in ("kinds", "nets"):
            for name, found in rung[level].items():
                for part in ("dials", "zones"):
                    for split, row in found.get(part, {}).items():
                        numbers = [v for m in MEASURED for v in (row[m] or ["", "", ""])]
                        who = f"{name} (pooled)" if level == "kinds" else name
                        rows.append([letter, who, f"{part}: {split}", *(row[c] for c in columns[3:8]), *numbers])
    return rows_text(rows)


def summary(document: Mapping[str, Any]) -> str:
    """A few lines for a terminal."""
    lines = [f"{'rung':<5}{'who':<20}{'n':>6}  {'AUC (95 %)':<24}{'right of decided (95 %)':<28}{'decided':>8}"]
    for letter, rung in document["rungs"].items():
        for kind, found in rung["kinds"].items():
            row = found.get("dials", found.get("zones"))["all"]
            area, right = (
                "" if row[m] is None else f"{row[m][0]:.3f} ({row[m][1]:.3f} to {row[m][2]:.3f})"
                for m in ("auc", "accuracy")
            )
            lines.append(f"{letter:<5}{kind:<20}{row['n']:>6}  {area:<24}{right:<28}{100 * row['coverage'][0]:>7.0f}%")
    return "\n".join(lines)


def _write_dials(path: Path, truths: Mapping[str, Truth], told: Mapping[str, Mapping[str, RungCalls]]) -> None:
    """Every dial's truth, ratio and call, so that other figures need no rendering."""
    arrays = {f"{letter} {name}": value for letter, truth in truths.items() for name, value in vars(truth).items()}
    for letter, nets in told.items():
        for net, one in nets.items():
            arrays |= {f"{letter} {net} {name}": value for name, value in vars(one).items()}
    np.savez_compressed(path, allow_pickle=False, **arrays)
