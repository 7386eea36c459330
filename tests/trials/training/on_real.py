"""What nets say of real photographs and of dials by other code, each read once: AUC by dial and by zone.

    python tests/trials training/on_real --photos TABLE.csv=FOLDER ... --nets new=runs/r5 old=runs/r4 --json > new.json

The photographs and their tables lie outside the project; they are measured, nothing is learnt from them. A table is CSV
with the columns file, truth (painted, printed; others are passed over) or label (hand-painted, printed), and if known
certainty (low is left out unless --low) and source: photographs of one source are one cluster, and a source that begins
with "same" is that of the row above. Each is read as a user would hand it in, within the outline the reader finds.

A net is a file of weights, a folder with one, the word shipped, or the folder of a study, whose members then count
together: the figure is the AUC of their mean logit, with that of each beside it. `dial` is the net's answer, `patches`
the mean of the patches' own logits, zones where the reading found them.

The reading belongs to the tree it is run in. To lay a net of another tree beside one of this tree, run there with
--json, and here with --beside THERE.json.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import DialtellError, ParameterError
from dialtell.synth.shared.terms import ZONES

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights
    from dialtell.model.reading.steps import Reading

SCHEMA = "dialtell.on-real/1"
TRUTHS = {"painted": True, "hand-painted": True, "printed": False}
KEYS = ("dial", "patches", *(zone.value for zone in ZONES))
REAL = "real"
DRAWS = 2000
SEED = 40_961
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Item:
    """One picture to judge. kind : "real", or of the dials by other code. source : its cluster."""

    name: str
    painted: bool
    source: str
    kind: str = REAL
    path: Path | None = None


@dataclass
class Told:
    """What nets of one kind say. logits : by key, then by item, one of each member, None where there is nothing to
    judge. calls : likewise right (1), wrong (-1) or none (0)."""

    members: list[str]
    logits: dict[str, dict[str, list[float | None]]] = field(default_factory=lambda: {key: {} for key in KEYS})
    calls: dict[str, list[int]] = field(default_factory=dict)


# --- what is judged ---


def photographs(tables: Iterable[str], *, low: bool = False) -> list[Item]:
    """Photographs of known process in tables named TABLE.csv=FOLDER (the table's own without one) that are there.

    Raises ParameterError for a table that cannot be read.
    """
    found: list[Item] = []
    for word in tables:
        table, _, folder = word.partition("=")
        place = Path(folder) if folder else Path(table).parent
        try:
            rows = list(csv.DictReader(Path(table).read_text("utf-8").splitlines()))
        except (OSError, UnicodeDecodeError) as error:
            raise ParameterError(f"{table} cannot be read ({error}); give a table of photographs") from error
        source = ""
        for row in rows:
            said = (row.get("source") or row.get("object") or row["file"]).strip()
            source = source if said.startswith("same") else said
            truth = TRUTHS.get((row.get("truth") or row.get("label") or "").strip())
            path = place / row["file"]
            if truth is None or not path.is_file() or (row.get("certainty") == "low" and not low):
                continue
            found.append(Item(path.name, truth, source, path=path))
    return found


def read_photographs(items: Sequence[Item]) -> tuple[dict[str, Reading], dict[str, str]]:
    """Readings by name, and why there is none of the others. A close-up of unknown scale gives its likeliest."""
    from dialtell.model.reading.known import UNKNOWN
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.photo import read_photo
    from dialtell.model.reading.steps import read

    readings, reasons = {}, {}
    for item in items:
        assert item.path is not None
        try:
            found = read(read_photo(item.path), UNKNOWN)
        except DialtellError as error:
            reasons[item.name] = str(error)
            continue
        if isinstance(found, NoDial):
            reasons[item.name] = found.reason
        else:
            readings[item.name] = found[0]
    return readings, reasons


def other_dials(count: int) -> tuple[list[Item], dict[str, Reading]]:
    """`count` dials by other code of each kind, read within their known outline as `outside/outside` does."""
    from trials.outside.dials import Kind, drawn, sample_outside
    from trials.outside.outside import SEED as OUTSIDE_SEED

    from dialtell.model.reading.known import Known
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.photo import Photo
    from dialtell.model.reading.steps import read

    items, readings = [], {}
    for number, kind in enumerate(Kind):
        for index in range(count):
            spec = sample_outside(kind, rng=np.random.default_rng((OUTSIDE_SEED, number, index)))
            pixels = drawn(spec)
            item = Item(f"{kind.value} {index}", kind.hand, spec.source, kind.value)
            found = read(Photo(Path(item.name), pixels, pixels.shape[1::-1]), Known(outline=spec.photograph.outline))
            assert not isinstance(found, NoDial)
            items.append(item)
            readings[item.name] = found[0]
    return items, readings


# --- what nets say ---


def weights_at(place: str) -> list[tuple[str, Weights]]:
    """Weights by name: all members of a study's folder, else the one meant."""
    from dialtell.model.net.weights_file import find_weights, load_weights

    folder = Path(place)
    files = sorted(folder.glob("*/strokes.safetensors")) if (folder / "study.json").is_file() else []
    return [(file.parent.name, load_weights(file)) for file in files] or [(place, load_weights(find_weights(place)))]


def told_by(nets: Sequence[tuple[str, Weights]], items: Sequence[Item], readings: Mapping[str, Reading]) -> Told:
    """What all members say of all that was read."""
    told = Told([name for name, _ in nets])
    for item in items:
        reading = readings.get(item.name)
        if reading is None:
            continue
        answers = [_answer(weights, reading) for _, weights in nets]
        for key in KEYS:
            told.logits[key][item.name] = [logits[key] for logits, _ in answers]
        told.calls[item.name] = [0 if call is None else 1 if call == item.painted else -1 for _, call in answers]
    return told


def _answer(weights: Weights, reading: Reading) -> tuple[dict[str, float | None], bool | None]:
    """Logits by key, None where there is too little, and the product's call: painted, printed or None."""
    from dialtell.evaluate.score.recognised import unrecognised
    from dialtell.model.net.calibration import HAND, PRINTED
    from dialtell.model.net.in_torch import asked
    from dialtell.model.net.resolution import resolution_of
    from dialtell.model.net.verdict import LEAST_PATCHES, LEAST_ZONE_PATCHES, judge

    patches = reading.patches
    found: dict[str, float | None] = dict.fromkeys(KEYS)
    if len(patches) < LEAST_PATCHES:
        return found, None
    output = asked(weights.net, patches)
    found["dial"], found["patches"] = float(output.dial[0]), float(output.patch[0].mean())
    counts = np.bincount(patches.zone, minlength=len(ZONES))
    for index, zone in enumerate(ZONES):
        if counts[index] >= LEAST_ZONE_PATCHES and reading.zones.named and zone in reading.zones.found:
            found[zone.value] = float(output.zone[0, index])
    enough = resolution_of(reading, weights.record, None).carries_strokes
    call = judge(patches, weights, withheld=not enough or unrecognised(reading) is not None).call
    return found, {HAND: True, PRINTED: False}.get(call)


# --- figures ---


def _chosen(told: Told, items: Sequence[Item], key: str) -> tuple[list[Item], Floats]:
    """Items that every member judged, and (members, n) logits."""
    rows = [(item, told.logits[key][item.name]) for item in items if item.name in told.logits[key]]
    rows = [(item, logits) for item, logits in rows if None not in logits]
    return [item for item, _ in rows], np.array([logits for _, logits in rows], dtype=np.float64).T


def figure(told: Told, items: Sequence[Item], key: str) -> dict[str, Any] | None:
    """AUC of the members' mean logit with its clustered interval, and of each; None where a kind is missing."""
    from dialtell.train.stats.clustered import clustered_auc
    from dialtell.train.stats.discrimination import auc

    chosen, logits = _chosen(told, items, key)
    hand = [item.painted for item in chosen]
    if len(set(hand)) < 2:
        return None
    sources = [item.source for item in chosen]
    measured = clustered_auc(hand, logits.mean(axis=0), sources, rng=np.random.default_rng(SEED))
    low, high = measured.interval or (0.0, 1.0)
    return {
        "auc": round(measured.value, 4), "low": round(low, 4), "high": round(high, 4),
        "each": [round(auc(hand, own), 4) for own in logits],
        "painted": sum(hand), "printed": len(hand) - sum(hand), "clusters": measured.clusters,
        "method": measured.method,
    }  # fmt: skip


def difference(one: Told, other: Told, items: Sequence[Item], key: str) -> dict[str, Any] | None:
    """AUC of one less that of another on what both judged, with the interval of the same clusters drawn for both."""
    from dialtell.train.stats.resampling import cluster_weights, percentile_interval

    first, a = _chosen(one, items, key)
    second, b = _chosen(other, items, key)
    names = {item.name for item in first} & {item.name for item in second}
    both = [item for item in first if item.name in names]
    hand = np.array([item.painted for item in both], dtype=bool)
    if len(set(hand.tolist())) < 2:
        return None
    scores = [
        logits.mean(axis=0)[[item.name in names for item in own]] for own, logits in ((first, a), (second, b))
    ]  # fmt: skip
    wins = [_wins(score[hand], score[~hand]) for score in scores]
    apart = wins[0] - wins[1]
    rng = np.random.default_rng(SEED)
    weight = cluster_weights(hand, [item.source for item in both], rng=rng, draws=DRAWS)
    found = {"difference": round(float(apart.mean()), 4), "n": len(both), "low": None, "high": None}
    if weight is not None:
        up, down = weight[:, hand], weight[:, ~hand]
        drawn = np.einsum("dh,hp,dp->d", up, apart, down, optimize=True) / (up.sum(axis=1) * down.sum(axis=1))
        found |= {name: round(end, 4) for name, end in zip(("low", "high"), percentile_interval(drawn), strict=True)}
    return found


def _wins(hand: Floats, printed: Floats) -> Floats:
    """(h, p) 1 where the painted one scores above, half where they tie."""
    won: Floats = (hand[:, None] > printed).astype(np.float64) + 0.5 * (hand[:, None] == printed)
    return won


def parts(items: Sequence[Item]) -> dict[str, list[Item]]:
    """The real photographs; the dials by other code, painted against each print and against all."""
    kinds = dict.fromkeys(item.kind for item in items)
    found = {kind: [i for i in items if i.kind == kind] for kind in kinds if kind == REAL}
    other = [item for item in items if item.kind != REAL]
    hand = [item for item in other if item.painted]
    for kind in kinds:
        own = [item for item in other if item.kind == kind and not item.painted]
        if own:
            found[f"other code, {kind}"] = hand + own
    return found | ({"other code, all": other} if other else {})


def document(items: Sequence[Item], reasons: Mapping[str, str], nets: Mapping[str, Told]) -> dict[str, Any]:
    """Everything, as one record."""
    figures = {
        name: {part: {key: figure(told, own, key) for key in KEYS} for part, own in parts(items).items()}
        for name, told in nets.items()
    }
    real = [item for item in items if item.kind == REAL]
    names = list(nets)
    apart = {
        f"{one} less {other}": {
            part: {key: difference(nets[one], nets[other], own, key) for key in KEYS}
            for part, own in parts(items).items()
        }
        for at, one in enumerate(names) for other in names[at + 1 :]
    }  # fmt: skip
    calls = {
        name: {sign: [sum(row[at] == value for row in _calls(told, real)) for at in range(len(told.members))]
               for sign, value in (("right", 1), ("wrong", -1), ("none", 0))}
        for name, told in nets.items()
    }  # fmt: skip
    return {
        "schema": SCHEMA, "figures": figures, "differences": apart, "calls of real": calls,
        "not read": dict(reasons),
        "items": [{"name": i.name, "painted": i.painted, "source": i.source, "kind": i.kind} for i in items],
        "told": {name: {"members": told.members, "logits": told.logits, "calls": told.calls}
                 for name, told in nets.items()},
    }  # fmt: skip


def _calls(told: Told, items: Sequence[Item]) -> list[list[int]]:
    return [told.calls[item.name] for item in items if item.name in told.calls]


def beside(path: Path) -> tuple[list[Item], dict[str, Told]]:
    """Items and nets of a document written in another tree."""
    try:
        record = json.loads(path.read_text("utf-8"))
        items = [Item(**row) for row in record["items"]]
        nets = {name: Told(**told) for name, told in record["told"].items()}
    except (OSError, ValueError, LookupError, TypeError) as error:
        raise ParameterError(f"{path} is no document of this trial ({error}); write one with --json") from error
    return items, nets


def text(record: Mapping[str, Any]) -> str:
    """The document for a terminal."""
    lines = [f"not read: {name}: {reason}" for name, reason in record["not read"].items()]
    for name, by_part in record["figures"].items():
        members = record["told"][name]["members"]
        lines.append(f"\n{name}: {len(members)} net{'s' * (len(members) > 1)} ({', '.join(members)})")
        for part, by_key in by_part.items():
            for key, found in by_key.items():
                if found is not None:
                    each = " ".join(f"{value:.2f}" for value in found["each"]) if len(members) > 1 else ""
                    ends = f"({found['low']:.2f} to {found['high']:.2f})"
                    lines.append(
                        f"  {part[:34]:<34} {key[:13]:<13} {found['auc']:.3f} {ends}"
                        f"  {found['painted']:>3} against {found['printed']:<3} {found['clusters']:>3} clusters  {each}"
                    )
        counts = record["calls of real"][name]
        lines.append(f"  calls of real photographs, net by net: {counts}")
    for name, by_part in record["differences"].items():
        lines.append(f"\n{name}")
        for part, by_key in by_part.items():
            for key, found in by_key.items():
                if found is not None:
                    ends = "" if found["low"] is None else f" ({found['low']:+.3f} to {found['high']:+.3f})"
                    lines.append(f"  {part[:34]:<34} {key[:13]:<13} {found['difference']:+.3f}{ends}, n {found['n']}")
    return "\n".join(lines).lstrip("\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Read, judge, print; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python tests/trials training/on_real", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--photos", nargs="*", default=[], metavar="TABLE.csv[=FOLDER]", help="real photographs")
    parser.add_argument("--low", action="store_true", help="also those whose process is known with low certainty")
    parser.add_argument("--other", type=int, default=0, metavar="N", help="dials by other code, N of each kind")
    parser.add_argument("--nets", nargs="+", default=["shipped=shipped"], metavar="NAME=PLACE", help="what judges")
    parser.add_argument("--beside", type=Path, nargs="*", default=[], metavar="FILE.json", help="of other trees")
    parser.add_argument("--json", action="store_true", help=f"print one JSON document, schema {SCHEMA}")
    args = parser.parse_args(arguments)
    try:
        record = _document(args)
    except DialtellError as error:
        print(f"on_real: error: {error}", file=sys.stderr)
        return 1
    from dialtell.evaluate.words.document import json_text

    print(json_text(record) if args.json else text(record))
    return 0


def _document(args: argparse.Namespace) -> dict[str, Any]:
    items = photographs(args.photos, low=args.low)
    readings, reasons = read_photographs(items)
    if args.other:
        others, read = other_dials(args.other)
        items, readings = [*items, *others], {**readings, **read}
    nets: dict[str, Told] = {}
    for word in args.nets:
        name, sign, place = word.partition("=")
        nets[name] = told_by(weights_at(place if sign else word), items, readings)
    for path in args.beside:
        more, theirs = beside(path)
        items = [*items, *(item for item in more if item.name not in {i.name for i in items})]
        nets |= {f"{name} ({path.stem})" if name in nets else name: told for name, told in theirs.items()}
    if not items:
        raise ParameterError("nothing to judge; give --photos TABLE.csv=FOLDER or --other N")
    return document(items, reasons, nets)


if __name__ == "__main__":
    raise SystemExit(main())
