"""Where every measurement of real dials lies among drawn painted and drawn printed dials as finely resolved.

    python tests/trials realism/places --photos DIR DIR --list FILE.csv FILE.csv [--spread FILE.json] [--drawn 60]

A place is the percent of drawn dials that show less. If the drawing is right, real paintings lie evenly among drawn
paintings and real prints among drawn prints: medians near 50; the aim is 35 to 65 for every measurement that eight
dials of a kind show. AUC is of a measurement's lean, painted against printed, on the real dials alone; "value" that of
the bare value (below 0.5: paintings have less), which shows what could be had where the drawing misleads the lean. One
dial gives a measurement for every zone that shows it. Intervals are over clusters drawn again (one dealer or series).

--drawn N : also places N dials of this renderer, read like the real ones: 50 where the spread is of this renderer and
the reader adds nothing, and, with an older spread, which way a change of the drawing moves each measurement.
dials.py says what a list holds.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from trials.realism.dials import Dial, add_flags, drawn_dials, one_thread, outside, real_dials, reported, scope_of

from dialtell.evaluate.measurements.gathering import measure_reading
from dialtell.evaluate.measurements.spread import Spread, band_of, load_spread, read_spread
from dialtell.evaluate.words.document import json_text
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import DialtellError
from dialtell.train.stats.clustered import clustered_auc, kish
from dialtell.train.stats.discrimination import auc
from dialtell.train.stats.resampling import cluster_weights, percentile_interval

SCHEMA = "dialtell.places/1"
AIM = (35.0, 65.0)  # percent
LEAST = 8  # dials of a kind, from which the aim holds
SHOWN = 3  # dials of a kind, from which a line is printed
DRAWS = 1000
KINDS = ("printed", "painted")


@dataclass(frozen=True)
class Placed:
    """One measurement on one zone of one dial. painted, printed : percent of drawn dials below. lean : log10."""

    dial: str
    cluster: str
    hand: int
    zone: str
    name: str
    value: float
    painted: float
    printed: float
    lean: float
    band: int

    @property
    def own(self) -> float:
        """Its place among drawn dials of its own kind."""
        return self.painted if self.hand else self.printed


def placed(dials: Iterable[Dial], spread: Spread) -> list[Placed]:
    """Every measurement of every dial of a known kind for which a spread is known."""
    found = []
    for dial in (dial for dial in dials if dial.hand in (0, 1)):
        band = band_of(dial.resolved)
        for finding in measure_reading(dial.reading)[1]:
            place = spread.place(finding, dial.resolved)
            if place is not None and finding.value is not None:
                found.append(Placed(
                    dial.name, dial.cluster, dial.hand, finding.zone.value, finding.measure.name, finding.value,
                    place.painted, place.printed, place.lean, band,
                ))  # fmt: skip
    return found


def kind_figures(rows: Sequence[Placed], hand: int) -> dict[str, Any]:
    """Of one kind: zones, dials, clusters, median place among its own kind with interval, and among the other."""
    own = [row for row in rows if row.hand == hand]
    if not own:
        return {"zones": 0, "dials": 0, "clusters": 0}
    dials = len({row.dial for row in own})
    places, clusters = np.array([row.own for row in own]), [row.cluster for row in own]
    other = [row.printed if hand else row.painted for row in own]
    rng = np.random.default_rng(hand)
    weights = cluster_weights(np.full(len(own), hand), clusters, rng=rng, draws=DRAWS, by_kind=False)
    assert weights is not None  # only by kind can there be too few
    low, high = percentile_interval(np.array([np.median(np.repeat(places, w.astype(int))) for w in weights]))
    middle = float(np.median(places))
    return {
        "zones": len(own), "dials": dials, "clusters": len(set(clusters)), "effective": round(kish(clusters), 1),
        "place": round(middle, 1), "interval_95": [round(low, 1), round(high, 1)],
        "place_among_other": round(float(np.median(other)), 1),
        "inside": bool(AIM[0] <= middle <= AIM[1]) if dials >= LEAST else None,
    }  # fmt: skip


def figures(rows: Sequence[Placed], drawn: Sequence[Placed] = ()) -> dict[str, dict[str, Any]]:
    """By measurement: figures of both kinds, AUC of its lean, and places of drawn dials read alike."""
    names = sorted({row.name for row in rows})
    found = {}
    for name in names:
        own = [row for row in rows if row.name == name]
        one: dict[str, Any] = {KINDS[hand]: kind_figures(own, hand) for hand in (1, 0)}
        if all(one[kind]["zones"] for kind in KINDS):
            area = clustered_auc(
                [row.hand for row in own], [row.lean for row in own], [row.cluster for row in own],
                rng=np.random.default_rng(0), draws=DRAWS,
            )  # fmt: skip
            one["auc"] = round(area.value, 3)
            one["auc_interval_95"] = None if area.interval is None else [round(v, 3) for v in area.interval]
            one["auc_of_value"] = round(auc([row.hand for row in own], [row.value for row in own]), 3)
        for hand in (1, 0):
            there = [row.own for row in drawn if row.name == name and row.hand == hand]
            if there:
                one[f"drawn {KINDS[hand]}"] = {"zones": len(there), "place": round(float(np.median(there)), 1)}
        found[name] = one
    return dict(sorted(found.items(), key=lambda item: -min(item[1][kind]["dials"] for kind in KINDS)))


def summary(found: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Of each kind: measurements that enough dials show, those inside the aim, and the median distance from 50."""
    told = {}
    for kind in KINDS:
        judged = {name: one[kind] for name, one in found.items() if one[kind].get("inside") is not None}
        off = [abs(one[kind]["place"] - 50) for one in found.values() if one[kind]["dials"] >= SHOWN]
        told[kind] = {
            "judged": len(judged),
            "inside": sum(one["inside"] for one in judged.values()),
            "outside_aim": {name: one["place"] for name, one in judged.items() if not one["inside"]},
            "median_distance_from_50": round(float(np.median(off)), 1) if off else None,
            "measurements": len(off),
        }
    return told


def table(document: Mapping[str, Any]) -> str:
    """The figures in lines; * marks what is outside the aim though enough dials show it."""
    drawn = document["drawn_dials"] > 0
    head = f"{'measurement':<36}{'real painted':^32}{'real printed':^32}{'AUC of lean':^21} value  "
    lines = [
        f"{document['dials']['painted']} painted and {document['dials']['printed']} printed real dials; spread of "
        f"{document['spread_dials']} drawn dials, renderer {document['spread_renderer']}",
        "place: median percent of drawn dials of its own kind below (interval over clusters); among the other kind",
        head + ("drawn painted, printed" if drawn else ""),
    ]
    for name, one in document["measurements"].items():
        if max(one[kind]["dials"] for kind in KINDS) < SHOWN:
            continue
        line = f"{name:<36}" + "".join(_cell(one[kind]) for kind in KINDS[::-1])
        span = one.get("auc_interval_95")
        area = f"{one['auc']:.2f}" + (f" ({span[0]:.2f} to {span[1]:.2f})" if span else "") if "auc" in one else "-"
        bare = f"{one['auc_of_value']:.2f}" if "auc_of_value" in one else "-"
        there = [one.get(f"drawn {kind}") for kind in KINDS[::-1]]
        said = ", ".join("-" if each is None else f"{each['place']:.0f} (n {each['zones']})" for each in there)
        lines.append(line + f"{area:<21}{bare:>6}  " + (said if drawn else ""))
    for kind, one in document["summary"].items():
        lines.append(
            f"{kind}: {one['inside']} of {one['judged']} measurements with {LEAST} dials and more lie at {AIM[0]:.0f} "
            f"to {AIM[1]:.0f}; distance from 50 of {one['measurements']} with {SHOWN} and more, median "
            f"{one['median_distance_from_50']}"
        )
    lines += [f"left out: {name}: {reason}" for name, reason in document["left_out"].items()]
    return "\n".join(lines)


def _cell(one: Mapping[str, Any]) -> str:
    if not one["zones"]:
        return f"{'-':<32}"
    low, high = one["interval_95"]
    mark = "*" if one["inside"] is False else " "
    counts = f"{one['zones']}/{one['dials']}"
    return f"{counts:>6} {one['place']:3.0f}{mark}({low:.0f} to {high:.0f}), {one['place_among_other']:.0f}".ljust(32)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print; exit status 1 where a list, a photograph or the spread cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials realism/places", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    add_flags(parser)
    parser.add_argument("--spread", type=Path, metavar="FILE.json", help="default: the one that comes with dialtell")
    parser.add_argument("--drawn", type=int, default=0, metavar="N", help="dials of this renderer placed beside them")
    args = parser.parse_args(arguments)
    one_thread()
    try:
        spread = load_spread() if args.spread is None else read_spread(args.spread)
        dials, left_out = real_dials(args.lists, args.photos)
        like = [dial.resolved for dial in dials]
        rows = placed(dials, spread)
        drawn = placed(drawn_dials(args.drawn, like, scope_of(args.words), seed=args.seed), spread)
        found = figures(rows, drawn)
        document = {
            "schema": SCHEMA, "renderer": RENDERER_VERSION, "spread_renderer": spread.renderer_version,
            "spread_dials": spread.dials, "dials": {kind: sum(d.hand == hand for d in dials)
                                                    for hand, kind in enumerate(KINDS)},
            "drawn_dials": len({row.dial for row in drawn}), "summary": summary(found), "measurements": found,
            "left_out": left_out, "rows": [vars(row) | {"own": row.own} for row in rows],
        }  # fmt: skip
        if args.json is not None:
            outside(args.json).write_text(json_text(document) + "\n", encoding="utf-8")
    except (DialtellError, OSError, json.JSONDecodeError) as error:
        return reported("places", error)
    print(table(document))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
