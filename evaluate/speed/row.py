"""One figure of speed beside its yardstick, and what is written of many: a table, or a document for programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from typing import Any

SCHEMA = "dialtell.speed/2"


@dataclass(frozen=True)
class SpeedRow:
    """One figure.

    part : what it belongs to. n : times measured. clock : "processor" (of one thread, which others on the machine
    stretch little) or "wall". seconds : each time, the median. yardstick, yardstick_seconds : what it is divided by.
    limit_seconds : what the work could take at the least, of which `limit` says why; None where nobody worked it out.
    """

    part: str
    what: str
    n: int
    clock: str
    seconds: float
    yardstick: str
    yardstick_seconds: float
    limit: str = ""
    limit_seconds: float | None = None

    @property
    def times(self) -> float:
        """As a multiple of the yardstick."""
        return self.seconds / self.yardstick_seconds

    @property
    def over_limit(self) -> float | None:
        """As a multiple of the least it could take."""
        return None if self.limit_seconds is None else self.seconds / self.limit_seconds

    def record(self) -> dict[str, Any]:
        """As JSON has it."""
        return asdict(self) | {"times": self.times, "over_limit": self.over_limit}


def table(rows: Sequence[SpeedRow], about: Mapping[str, Any]) -> str:
    """Markdown, part by part: what, how long, how many times its yardstick and the least it could take."""
    lines = []
    for part, own in groupby(rows, lambda row: row.part):
        lines += [f"| {part} | n | ms | times | of | limit | times the limit |", "|---|---|---|---|---|---|---|"]
        for row in own:
            near = ("", "") if row.over_limit is None else (row.limit, f"{row.over_limit:.3g}")
            lines.append(
                f"| {row.what} | {row.n} | {1000 * row.seconds:.4g} | {row.times:.3g} | {row.yardstick} | "
                f"{near[0]} | {near[1]} |"
            )
        lines.append("")
    clocks = "; ".join(f"{part} by {clock} time" for part, clock in dict.fromkeys((r.part, r.clock) for r in rows))
    yards: dict[str, dict[str, None]] = {}  # one name may stand for several, as of another photograph
    for row in rows:
        yards.setdefault(row.yardstick, {})[f"{1000 * row.yardstick_seconds:.3g}"] = None
    lines.append("Yardsticks, ms: " + "; ".join(f"{name} {', '.join(each)}" for name, each in yards.items()) + ".")
    lines.append(f"Clocks: {clocks}.")
    return "\n".join([*lines, _machine(about)])


def _machine(about: Mapping[str, Any]) -> str:
    versions = ", ".join(f"{name} {version}" for name, version in about["versions"].items())
    load = "unknown" if about["load"] is None else f"{about['load']:.1f}"
    what = f"{about['processor']}, {about['cores']} cores, nets on {about['device']}, load {load} at the start"
    return f"{what}; {versions}."


def document(rows: Sequence[SpeedRow], about: Mapping[str, Any]) -> dict[str, Any]:
    """Everything, seconds, ready for JSON."""
    return {"schema": SCHEMA, **about, "rows": [row.record() for row in rows]}
