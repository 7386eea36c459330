"""How far a person and the program agree over the collection, by opinions noted before the call was seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from dialtell.evaluate.examine.record import PLACES, ExaminedDials
from dialtell.evaluate.label.agreement import FEW, cohen_kappa
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.train.stats.proportion import wilson

# what the program says to each thing a person can say; a dial that a person finds mixed it leaves undetermined
WORDS = {"painted": HAND, "printed": PRINTED, "mixed": UNDETERMINED, "cannot tell": UNDETERMINED}
CALLS = (HAND, PRINTED, UNDETERMINED)


def collection_agreement(dials: ExaminedDials) -> list[dict[str, Any]]:
    """For the dial and each zone: zone, n, alike, opposed (painted against printed), kappa and its 95 % interval
    (None where undefined), alike_interval, few (whether so few that the interval is too narrow), table.

    A person's newest opinion of those noted before the call was shown counts; dials whose call is still kept back do
    not. table : (3, 3) counts in the order of CALLS, rows the person's.
    """
    rows = dials.rows(
        "SELECT o.zone, o.label, s.call FROM examined_opinion o "
        "JOIN examined_standing s ON s.dial = o.dial AND s.zone = o.zone "
        "JOIN examined_dial d ON d.id = o.dial AND (d.shown_at IS NOT NULL OR NOT d.blind) "
        "WHERE o.label != '' AND o.id IN "
        "(SELECT max(id) FROM examined_opinion WHERE NOT call_shown GROUP BY dial, zone)",
        [],
    )
    return [_part(zone, [(row["label"], row["call"]) for row in rows if row["zone"] == zone]) for zone in PLACES]


def _part(zone: str, pairs: list[tuple[str, str]]) -> dict[str, Any]:
    table = np.zeros((len(CALLS), len(CALLS)), dtype=np.int64)
    for label, call in pairs:
        table[CALLS.index(WORDS[label]), CALLS.index(call)] += 1
    count, alike = int(table.sum()), int(np.trace(table))
    told: dict[str, Any] = {
        "zone": zone, "n": count, "alike": alike, "opposed": int(table[0, 1] + table[1, 0]), "kappa": None,
        "interval": None, "alike_interval": None, "few": count < FEW, "table": table.tolist(),
    }  # fmt: skip
    if count == 0:
        return told
    kappa, share = cohen_kappa(table), wilson(alike, count)
    told["alike_interval"] = [round(share.low, 4), round(share.high, 4)]
    told["kappa"] = None if kappa.value is None else round(kappa.value, 4)
    if kappa.low is not None and kappa.high is not None:
        told["interval"] = [round(kappa.low, 4), round(kappa.high, 4)]
    return told


def agreement_text(parts: Sequence[Mapping[str, Any]]) -> str:
    """The same as lines to read, without a final newline."""
    lines = [f"{'part':<14}{'dials':>6}{'alike':>7}{'opposite':>10}{'kappa':>8}  95 % interval"]
    for part in parts:
        kappa = "-" if part["kappa"] is None else f"{part['kappa']:.2f}"
        within = "{:.2f} to {:.2f}".format(*part["interval"]) if part["interval"] else "-"
        lines.append(f"{part['zone']:<14}{part['n']:>6}{part['alike']:>7}{part['opposed']:>10}{kappa:>8}  {within}")
    if any(0 < part["n"] < FEW for part in parts):
        lines += ["", f"With fewer than {FEW} dials the interval of kappa is too narrow."]
    return "\n".join(lines)
