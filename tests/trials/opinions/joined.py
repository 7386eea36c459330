"""Does the net's ratio get better when measurements are added to it? One calibrated sum, fitted on drawn dials.

    python tests/trials opinions/joined --rows joined.jsonl [--weights FILE.safetensors] [--count 150] [--outside 96]

Dials are drawn, read, judged and measured (joined_rows.py says which), one line of JSON each; the same command goes on
with the rows of the same weights and renderer. Then sums of several forms are fitted by logistic regression to the
group "fit", prior 1:1, their penalty chosen on parts left out, and judged on the other groups: letterforms never seen,
worse cameras and hands, figures by other code. A measurement that is missing adds nothing. Each form stands beside the
net's ratio refitted on the same dials, in differences over the same dials drawn again (clusters, 95 %).

All ratios are held within the caps of the weights, and a dial whose zones contradict its call has none, as in the
program. "betters" asks of held-out letterforms and of other code alike: AUC higher, Cllr lower, and the interval of
the change of Cllr wholly below 0. What betters is worth shipping where it costs at most half a scoring; costs are
multiples of one, scoring and measuring in turn. Nothing here looks at a real photograph. Needs scikit-learn.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tqdm import tqdm
from trials.opinions.joined_cost import costs
from trials.opinions.joined_fit import CHOSEN, NET, Table, judged, single
from trials.opinions.joined_rows import GROUPS, append_rows, jobs_of, loaded, made_with, read_rows

from dialtell.evaluate.measurements.spread import load_spread, read_spread
from dialtell.synth.shared.errors import DialtellError

SCHEMA = "dialtell.joined/1"


def text_of(document: Mapping[str, Any]) -> str:
    """The document for a terminal."""
    lines = [f"{document['weights']['name']} {document['weights']['version']}, renderer {document['renderer']}"]
    for group in GROUPS:
        first = document["forms"][NET]["groups"][group]
        lines += ["", f"{group}: {first['n']} judged, {first['painted']} painted, {first['clusters']} clusters"]
        lines.append(f"{'':30}{'AUC (95 %)':^24}{'Cllr':>7}{'decided':>9}{'wrong':>7}  AUC gain (95 %), change of Cllr")
        for form, one in document["forms"].items():
            own = one["groups"][group]
            change = "" if form == NET else (
                f"  {own['auc_gain']:+.3f} ({own['auc_gain_95'][0]:+.3f} to {own['auc_gain_95'][1]:+.3f}), "
                f"{own['cllr_change']:+.3f} ({own['cllr_change_95'][0]:+.3f} to {own['cllr_change_95'][1]:+.3f})"
            )  # fmt: skip
            area = " ".join(f"{v:.3f}" for v in own["auc"])
            lines.append(f"{form:30}{area:^24}{own['cllr'][0]:7.3f}{own['decided']:9}{own['wrong']:7}{change}")
    lines += ["", "chosen on the fit: " + (", ".join(document["forms"][CHOSEN]["chosen"]) or "none")]
    lines.append("betters the net: " + (", ".join(document["betters"]) or "none"))
    if document["costs"]:
        lines.append("times scoring a photograph: " + json.dumps(document["costs"]))
    lines += ["", f"{'AUC of one measurement alone':36}" + "".join(f"{group:>26}" for group in GROUPS)]
    for name, own in document["single"].items():
        cells = (
            f"{c['auc'][0]:.2f} ({c['auc'][1]:.2f} to {c['auc'][2]:.2f}; {c['n']})" if (c := own.get(g)) else "-"
            for g in GROUPS
        )
        lines.append(f"{name:36}" + "".join(f"{cell:>26}" for cell in cells))
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Judge dials that have no row yet, fit, print; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=Path, required=True, metavar="FILE.jsonl", help="rows file, gone on with")
    parser.add_argument("--weights", metavar="FILE.safetensors", help="default: those that come with dialtell")
    parser.add_argument("--spread", metavar="FILE", help="spread to use (default: the one that comes with dialtell)")
    parser.add_argument("--count", type=int, default=150, metavar="N", help="dials of each drawn group (default: 150)")
    parser.add_argument("--outside", type=int, default=96, metavar="N", help="by other code (default: 96)")
    parser.add_argument("--workers", type=int, default=1, metavar="N", help="processes (default: 1)")
    parser.add_argument("--no-draw", action="store_true", help="judge the rows there are")
    parser.add_argument("--repeats", type=int, default=3, metavar="N", help="of the timing, 0 for none (default: 3)")
    parser.add_argument("--json", action="store_true", help=f"print one JSON document, schema {SCHEMA}")
    args = parser.parse_args(arguments)
    try:
        document = _document(args)
    except DialtellError as error:
        print(f"joined: error: {error}", file=sys.stderr)
        return 1
    print(json.dumps(document, indent=1) if args.json else text_of(document))
    return 0


def _document(args: argparse.Namespace) -> dict[str, Any]:
    weights = loaded(args.weights)
    made = made_with(weights)
    rows = read_rows(args.rows, made)
    if not args.no_draw:
        done = {(row["group"], row["index"]) for row in rows}
        counts = {group: args.outside if group == "outside" else args.count for group in GROUPS}
        jobs = [job for job in jobs_of(counts) if job not in done]
        coming = append_rows(args.rows, jobs, args.weights, args.workers)
        rows += tqdm(coming, total=len(jobs), unit="dial", disable=None, file=sys.stderr)
    spread = read_spread(args.spread) if args.spread else load_spread()
    table = Table(rows, spread)
    forms = judged(table, weights.dial_calibration)
    return {
        "schema": SCHEMA, "weights": weights.identity, "renderer": made["renderer"],
        "spread_renderer": spread.renderer_version,
        "dials": {group: sum(row["group"] == group for row in rows) for group in GROUPS},
        "forms": forms, "betters": [form for form, one in forms.items() if one["betters"]],
        "single": single(table), "costs": costs(weights, args.repeats) if args.repeats else {},
    }  # fmt: skip


if __name__ == "__main__":
    raise SystemExit(main())
