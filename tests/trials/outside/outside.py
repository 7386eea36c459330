"""The outside rung: figures that our renderer did not draw, laid out as dials: `python tests/trials outside/outside`.

Handwritten digits that scikit-learn carries, no two alike, against three things that stand for print: one specimen of
each of those digits repeated everywhere, installed type, and that type counted into 8 x 8 px and enlarged as the
handwriting was. Density is constant, places exact, the photograph alike for all, and the outline is given. It needs
scikit-learn; nothing is downloaded. Pages of text bundled with scikit-image are scored as close-ups beside them.
"""

from __future__ import annotations

import argparse
import logging
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from trials.outside.dials import Kind, drawn, sample_outside
from trials.outside.glyphs import fonts, samples

from dialtell.synth.shared.errors import DialtellError, ParameterError

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.outside/1"
SEED = 61_803

SHOWS = (
    "What it can show: whether the net takes figures that differ from each other for painted and figures that repeat "
    "for printed, on shapes and in a layout that our renderer did not make.",
    "The fairest comparison is with the same handwriting repeated: shapes and edges are alike, only repetition "
    "differs. Against type, letterforms differ too, and against sharp type also edges: a high AUC may rest on those.",
    "What it cannot show: anything about enamel, paint or print. The digits were written with a pen, normalised in "
    "size and kept at 8 x 8 px: no load of ink, no taper, no tremor, no lift is left, and those are half of what a "
    "hand leaves on a dial. The density is constant, so these painted dials lack the grey of thin paint.",
)


class OutsideRow(NamedTuple):
    """One picture judged. log10_lr : of the dial, positive for hand; None where nothing was judged."""

    kind: Kind
    source: str
    call: str
    log10_lr: float | None


def outside_rows(weights: Weights, count: int, *, seed: int = SEED) -> Iterator[OutsideRow]:
    """`count` pictures of each kind, judged within their known outline."""
    from PIL import Image

    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.reading.known import Known

    with tempfile.TemporaryDirectory(prefix="dialtell-") as folder:
        path = Path(folder) / "dial.png"
        for number, kind in enumerate(Kind):
            for index in range(count):
                spec = sample_outside(kind, rng=np.random.default_rng((seed, number, index)))
                Image.fromarray(drawn(spec)).save(path, compress_level=1)
                record = score_photo(path, weights, known=Known(outline=spec.photograph.outline)).record
                yield OutsideRow(kind, spec.source, record["call"], record["log10_lr"])


def summary(rows: Sequence[OutsideRow], *, seed: int = SEED) -> dict[str, Any]:
    """Calls of each kind, and the AUC of handwriting against each print, clustered by writer and font family."""
    from dialtell.evaluate.benchmark.benchmark import entry
    from dialtell.train.stats.clustered import clustered_auc

    kinds, areas = {}, {}
    for kind in Kind:
        own = [row for row in rows if row.kind is kind]
        ratios = [row.log10_lr for row in own if row.log10_lr is not None]
        kinds[kind.value] = {
            "n": len(own),
            "sources": len({row.source for row in own}),
            "calls": dict(sorted(Counter(row.call for row in own).items())),
            "median_log10_lr": round(float(np.median(ratios)), 3) if ratios else None,
        }
    for kind in Kind:
        chosen = [row for row in rows if row.kind in (Kind.HAND, kind) and row.log10_lr is not None]
        truth = [row.kind.hand for row in chosen]
        if not kind.hand and len(set(truth)) == 2:
            ratio, sources = [row.log10_lr or 0.0 for row in chosen], [row.source for row in chosen]
            rng = np.random.default_rng(seed)
            areas[f"{Kind.HAND.value} against {kind.value}"] = entry(clustered_auc(truth, ratio, sources, rng=rng))
    return {"kinds": kinds, "auc": areas}


def page_calls(weights: Weights) -> list[dict[str, Any]]:
    """What is said of bundled scans of text, as close-ups; one picture each, so nothing follows from them."""
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.reading.known import Known

    said = []
    for name, path in samples().items():
        record = score_photo(path, weights, known=Known(close_up=True)).record
        said.append({key: record[key] for key in ("call", "log10_lr", "reason")} | {"picture": name})
    return said


def outside_text(document: dict[str, Any]) -> str:
    """The document for a terminal."""
    lines = [f"{'figures':<24}{'n':>5}{'sources':>9}{'hand':>6}{'print':>7}{'open':>6}  median log10 LR"]
    for name, row in document["kinds"].items():
        counts = [row["calls"].get(call, 0) for call in ("hand-painted", "printed", "undetermined")]
        middle = "-" if row["median_log10_lr"] is None else f"{row['median_log10_lr']:+.2f}"
        hand, printed, undecided = counts
        lines.append(f"{name:<24}{row['n']:>5}{row['sources']:>9}{hand:>6}{printed:>7}{undecided:>6}  {middle}")
    lines.append("")
    for name, area in document["auc"].items():
        lines.append(
            f"AUC, {name}: {area['value']:.3f} (95 % {area['low']:.3f} to {area['high']:.3f}; n {area['n']}, "
            f"clusters {area['clusters']})"
        )
    for page in document["pages"]:
        ratio = "" if page["log10_lr"] is None else f" {page['log10_lr']:+.2f}"
        lines.append(f"scikit-image's {page['picture']}.png as a close-up: {page['call']}{ratio}. {page['reason']}")
    return "\n".join([*lines, "", *SHOWS])


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, judge, print; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials outside/outside", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--count", type=int, default=60, metavar="N", help="dials of each kind (default: %(default)s)")
    parser.add_argument("--weights", type=Path, metavar="FILE.safetensors", help="default: those that come with it")
    parser.add_argument("--json", action="store_true", help=f"print one JSON document, schema {SCHEMA}")
    args = parser.parse_args(arguments)
    try:
        document = _document(args)
    except DialtellError as error:
        print(f"outside: error: {error}", file=sys.stderr)
        return 1
    from dialtell.evaluate.words.document import json_text

    print(json_text(document) if args.json else outside_text(document))
    return 0


def _document(args: argparse.Namespace) -> dict[str, Any]:
    from tqdm import tqdm

    from dialtell.model.net.weights_file import load_weights

    if args.count < 2:
        raise ParameterError(f"count is {args.count}; give at least 2 dials of each kind")
    weights = load_weights(args.weights)
    bar = tqdm(outside_rows(weights, args.count), total=args.count * len(Kind), unit="dial", disable=None, leave=False)
    document = {"schema": SCHEMA, "model": weights.identity, "seed": SEED, "fonts": len(fonts()), **summary(list(bar))}
    try:
        document["pages"] = page_calls(weights)
    except ParameterError as error:  # scikit-image is not needed for the rest
        logging.getLogger("dialtell.outside").warning("%s", error)
        document["pages"] = []
    return document | {"shows": list(SHOWS)}


if __name__ == "__main__":
    raise SystemExit(main())
