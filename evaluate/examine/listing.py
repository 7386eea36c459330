"""The list of dials, a page at a time: which dials, in short. What is kept back of a dial finds it by no search."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dialtell.evaluate.examine.fields import FIELDS
from dialtell.evaluate.examine.record import DIAL, PLACES, ExaminedDials
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.synth.shared.errors import ParameterError

CALLS = (HAND, PRINTED, UNDETERMINED)
KEPT = "kept back"
PAGE = 60  # dials
_MOST_WORDS = 8
KEPT_BACK = "(d.blind AND d.shown_at IS NULL)"


@dataclass(frozen=True)
class Wanted:
    """Which dials; None and "" take all.

    text : words, each found somewhere among name, maker, serial, year, source, price and notes, in any case. call : of
    the dial, or of `zone`. decade : first year of it, 0 for dials without a year. start : dials before the page.
    aside : those set aside, in place of all others.
    """

    text: str = ""
    call: str | None = None
    zone: str = DIAL
    decade: int | None = None
    start: int = 0
    aside: bool = False

    def where(self, *, of_years: bool = True) -> tuple[str, list[str | int]]:
        """The condition on a row d of examined_dial, and its values. of_years : what is asked of its year, too."""
        parts = ["d.aside = ?"]
        values: list[str | int] = [int(self.aside)]
        for word in self.text.casefold().split()[:_MOST_WORDS]:
            parts.append("instr(d.words, ?)")
            values.append(word)
        if self.call is not None:
            parts.append(
                f"NOT {KEPT_BACK} AND EXISTS (SELECT 1 FROM examined_standing s "
                "WHERE s.dial = d.id AND s.zone = ? AND s.call = ?)"
            )
            values += [self.zone, self.call]
        if self.decade is not None and of_years:
            parts.append("d.year IS NULL" if self.decade == 0 else "d.year BETWEEN ? AND ?")
            if self.decade != 0:
                values += [self.decade, self.decade + 9]
        return " AND ".join(parts), values


def wanted_of(given: Mapping[str, str]) -> Wanted:
    """What an address asks for. Raises ParameterError."""
    call, zone = given.get("call") or None, given.get("zone") or DIAL
    if call is not None and call not in CALLS:
        raise ParameterError(f"call is {call!r}; give one of {', '.join(CALLS)}")
    if zone not in PLACES:
        raise ParameterError(f"zone is {zone!r}; give one of {', '.join(PLACES)}")
    decade = _whole("decade", given["decade"]) if given.get("decade") else None
    start, aside = _whole("start", given.get("start") or "0"), given.get("aside") == "1"
    return Wanted(given.get("text", "")[:200], call, zone, decade, start, aside)


def _whole(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise ParameterError(f"{name} is {text!r}; give a whole number")
    return int(text)


def page_of(dials: ExaminedDials, wanted: Wanted) -> dict[str, Any]:
    """total : dials found; of : dials there are; aside : dials set aside; start; dials : up to PAGE of them, the newest
    first; decades : first year (0 without one) and number of dials of each that there is; years : year (0 without one),
    call of the wanted zone (KEPT where it is kept back, "" where there is none) and number of dials, of any year, that
    are else as wanted."""
    others, given = wanted.where(of_years=False)
    years = dials.rows(
        f"SELECT coalesce(d.year, 0) AS year, CASE WHEN {KEPT_BACK} THEN '{KEPT}' ELSE coalesce(s.call, '') END "
        "AS call, count(*) AS n FROM examined_dial d LEFT JOIN examined_standing s ON s.dial = d.id AND s.zone = ? "
        f"WHERE {others} GROUP BY 1, 2 ORDER BY 1, 2",
        [wanted.zone, *given],
    )
    total = sum(row["n"] for row in years if wanted.decade in (None, row["year"] // 10 * 10))
    where, values = wanted.where()
    start = min(wanted.start, max(0, (total - 1) // PAGE * PAGE))
    rows = dials.rows(
        f"SELECT d.id, {', '.join(FIELDS)}, {KEPT_BACK} AS kept_back, "
        "(SELECT count(*) FROM examined_photo p WHERE p.dial = d.id) AS photographs, "
        "(SELECT count(*) FROM examined_photo p WHERE p.dial = d.id AND +p.state = 'waiting') AS waiting, "
        "(SELECT count(*) FROM examined_photo p WHERE p.dial = d.id AND +p.state = 'failed') AS failed, "
        "coalesce((SELECT sha256 FROM examined_photo p WHERE p.sha256 = d.cover AND p.thumbnail IS NOT NULL), "
        "(SELECT sha256 FROM examined_photo p WHERE p.dial = d.id AND p.thumbnail IS NOT NULL "
        "ORDER BY p.added_at LIMIT 1)) AS cover, "
        "(SELECT call FROM examined_standing s WHERE s.dial = d.id AND s.zone = 'dial') AS call "
        f"FROM examined_dial d WHERE +{where} ORDER BY d.id DESC LIMIT {PAGE} OFFSET ?",
        [*values, start],
    )
    decades = dials.rows(
        "SELECT coalesce(year / 10 * 10, 0) AS decade, count(*) AS n FROM examined_dial WHERE aside = ? "
        "GROUP BY 1 ORDER BY 1",
        [wanted.aside],
    )
    aside = dials.rows("SELECT count(*) AS n FROM examined_dial WHERE aside", [])[0]["n"]
    return {
        "total": total,
        "of": sum(row["n"] for row in decades),
        "aside": aside,
        "start": start,
        "page": PAGE,
        "dials": [_short(row) for row in rows],
        "decades": [[row["decade"], row["n"]] for row in decades],
        "years": [list(row.values()) for row in years],
    }


def _short(row: Mapping[str, Any]) -> dict[str, Any]:
    names = ("id", *FIELDS, "photographs", "waiting", "failed", "cover")
    hidden = bool(row["kept_back"])
    return {name: row[name] for name in names} | {"kept_back": hidden, "call": None if hidden else row["call"]}
