"""What a page says of its maps: how often they found what was planted on drawn dials, from the weights' own record.

`python tests/trials maps/saliency_truth --note` writes the record into the weights' JSON, under "maps".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dialtell.synth.planting import Plant

PLACES, UNLIKE, ODD = "places", "beside its like", "odd strokes"  # maps of saliency_truth that pages show
LEGEND = "What each place adds to the call: solid orange towards hand, plus; hatched blue towards print, minus."
UNTESTED = "How often this map finds a single odd figure or stroke has not been tested with these weights."
_FIGURES = {
    Plant.PAINTED_FIGURE: "on the one painted figure of a printed dial",
    Plant.PRINTED_FIGURE: "on the one printed figure of a painted dial",
}
_STROKES = (Plant.FADED_STROKE, Plant.OVERSHOOT)


def maps_record(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What is kept of a table of saliency_truth: by map and plant, dials tried, peaks on the plant, and how often the
    map's sign there was right."""
    kept: dict[str, Any] = {}
    for row in rows:
        if row["map"] in (PLACES, UNLIKE, ODD, "edges"):
            n, sign = int(row["n"]), row["right_sign"]
            found = {"n": n, "hits": round(row["hit_rate"][0] * n), "right_sign": sign}
            kept.setdefault(row["map"], {})[str(row["plant"])] = found
    return kept


def hits_sentence(record: Mapping[str, Any] | None, name: str) -> str:
    """How often the peak of map `name` lay on what was planted; record : "maps" of the weights' JSON, None without."""
    try:
        own = dict(record[name]) if record is not None else {}
        figures = [(words, *_counted(own, [plant])) for plant, words in _FIGURES.items()]
        strokes = _counted(own, _STROKES)
    except (KeyError, TypeError, ValueError):
        return UNTESTED
    if not all(n for _, _, n in figures) or not strokes[1]:
        return UNTESTED
    parts = [f"{words} in {hits or 'none'} of {n}" for words, hits, n in figures]
    parts.append(f"and on a single faded or overrun stroke in {strokes[0] or 'none'} of {strokes[1]}")
    return f"On drawn dials its strongest place lay {', '.join(parts)}."


def _counted(own: Mapping[str, Any], plants: Sequence[Plant]) -> tuple[int, int]:
    """(hits, n) over some plants."""
    rows = [own[str(plant)] for plant in plants]
    return sum(int(row["hits"]) for row in rows), sum(int(row["n"]) for row in rows)
