"""A collection on one page: thumbnails by decade, the share of painted dials by year, filters; all of it offline."""

from __future__ import annotations

import base64
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import PurePath
from typing import Any

from markupsafe import Markup

from dialtell.evaluate.collection.file import Entry
from dialtell.evaluate.collection.near_duplicates import alike
from dialtell.evaluate.collection.table import call_of
from dialtell.evaluate.compare.findings import pair_support
from dialtell.evaluate.pages.templates import filled
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.train.stats.proportion import wilson

CHART_WIDTH, CHART_HEIGHT, MARGIN = 720.0, 200.0, 44.0
LEAST_SPAN = 10  # years across the chart
BLOCK = 240  # thumbnails in one element of the page, read when the first of them is shown
SHOWN_PAIRS = 200


def page_text(
    entries: Sequence[Entry],
    title: str,
    links: Mapping[int, str] | None = None,
    *,
    pairs: Sequence[Mapping[str, Any]] = (),
    labels: Mapping[int, Sequence[Mapping[str, Any]]] | None = None,
    made: str = "",
) -> str:
    """The page. links : of entries' ids to inspection pages, relative to the page.

    pairs : of dials laid on each other, as collection_plates.told gives them, `link` relative to the page.
    labels : people's, by entry, as CollectionFile.labels gives them. made : when, in words; "" says nothing of it.
    """
    links, labels = links or {}, labels or {}
    data = _json([_dial(entry, links.get(entry.id), labels.get(entry.id, ())) for entry in entries])
    counts = Counter(entry.call or UNDETERMINED for entry in entries)
    return filled(
        "collection",
        title=plain_name(title),
        data=Markup(data),
        blocks=[Markup(_json(block)) for block in _pictures(entries)],
        block=BLOCK,
        total=len(entries),
        counts=[(call, counts[call]) for call in (HAND, PRINTED, UNDETERMINED)],
        chart=chart(entries),
        decades=_decades(entries),
        same=_pairs(entries),
        plates=[_plate(pair) for pair in pairs[:SHOWN_PAIRS]],
        more_plates=max(len(pairs) - SHOWN_PAIRS, 0),
        weights=Counter(plain_name(entry.weights) for entry in entries if entry.weights).most_common(5),
        labelled=bool(labels),
        made=made,
        cautions=CAUTIONS,
    )


def shares(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """By year: year, painted, decided, and the share with its 95 % Wilson interval; only years with decided calls."""
    found = []
    dated = sorted((e for e in entries if e.fields["year"] is not None), key=lambda e: int(e.fields["year"]))
    for year, group in groupby(dated, key=lambda e: int(e.fields["year"])):
        calls = Counter(entry.call for entry in group)
        painted, decided = calls[HAND], calls[HAND] + calls[PRINTED]
        if decided:
            low, high = wilson(painted, decided)
            found.append({"year": year, "painted": painted, "decided": decided,
                          "share": painted / decided, "low": low, "high": high})  # fmt: skip
    return found


def chart(entries: Sequence[Entry]) -> dict[str, Any] | None:
    """Points, whiskers and axis marks in px of the chart; None without a dated, decided dial."""
    points = shares(entries)
    if not points:
        return None
    first, last = points[0]["year"], points[-1]["year"]
    spare = max(LEAST_SPAN - (last - first), 0) / 2
    low, high = first - spare - 1, last + spare + 1

    def across(year: float) -> float:
        return round(float(MARGIN + (year - low) / (high - low) * (CHART_WIDTH - 1.5 * MARGIN)), 1)

    def down(share: float) -> float:
        return round(CHART_HEIGHT - MARGIN - share * (CHART_HEIGHT - 1.5 * MARGIN), 1)

    step = next(width for width in (1, 2, 5, 10, 20, 50, 100) if (high - low) / width <= 14)
    marks = [year for year in range(int(low), int(high) + 1) if year % step == 0]
    return {
        "width": CHART_WIDTH, "height": CHART_HEIGHT, "left": MARGIN, "right": CHART_WIDTH - MARGIN / 2,
        "points": [
            {"x": across(p["year"]), "y": down(p["share"]), "low": down(p["low"]), "high": down(p["high"]),
             "words": f"{p['year']}: {p['painted']} of {p['decided']} called hand-painted "
                      f"({p['low']:.2f} to {p['high']:.2f})"}
            for p in points
        ],
        "years": [{"x": across(year), "text": year} for year in marks],
        "shares": [{"y": down(share), "text": f"{100 * share:.0f} %"} for share in (0.0, 0.5, 1.0)],
    }  # fmt: skip


def _dial(entry: Entry, link: str | None, labels: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    year = entry.fields["year"]
    zones = [] if entry.document is None else entry.document["zones"]
    whole = next((label for label in labels if label["zone"] == "dial"), None)
    call, ratio = entry.call or UNDETERMINED, call_of(entry)[1]
    return {
        "id": entry.id,
        "name": plain_name(entry.path.name),
        "who": plain_name(" ".join(str(entry.fields[key]) for key in ("maker", "serial") if entry.fields[key])),
        "year": year,
        "call": call,
        "ratio": None if ratio is None else round(ratio, 2),
        "support": "" if entry.document is None else plain_name(entry.document["support"]),
        "zones": {zone["zone"]: list(call_of(entry, zone["zone"])) for zone in zones if zone["judged"]},
        "label": "" if whole is None else f"{whole['label']} ({whole['basis']})",
        "otherwise": whole is not None and OPPOSITE.get(whole["label"]) == call,
        "link": link,
    }


OPPOSITE = {"painted": PRINTED, "printed": HAND}  # the call that contradicts a label


def _pictures(entries: Sequence[Entry]) -> list[list[str | None]]:
    """Thumbnails in base64, in the order of the entries, BLOCK at a time."""
    drawn = [None if entry.thumbnail is None else base64.b64encode(entry.thumbnail).decode() for entry in entries]
    return [drawn[start : start + BLOCK] for start in range(0, len(drawn), BLOCK)]


def _plate(pair: Mapping[str, Any]) -> dict[str, Any]:
    """One row of the table of dials that one plate may have made."""
    ratio = pair["log10_lr"]
    return {
        "dials": [
            {"id": number, "name": plain_name(PurePath(photo).name), "call": call or UNDETERMINED}
            for number, photo, call in zip((pair["first"], pair["second"]), pair["photos"], pair["calls"], strict=True)
        ],
        "finding": pair["finding"],
        "ratio": "" if ratio is None else f"{ratio:+.2f}".replace("-", "\u2212"),
        "support": pair_support(pair["finding"], ratio),
        "reason": plain_name(pair["reason"]),
        "note": pair["note"],
        "link": pair.get("link"),
    }


def _json(value: object) -> str:
    """JSON that may stand in a script element: nothing in it can close the element or open a comment."""
    return json.dumps(value, allow_nan=False).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _decades(entries: Sequence[Entry]) -> list[int]:
    return sorted({int(entry.fields["year"]) // 10 * 10 for entry in entries if entry.fields["year"] is not None})


def _pairs(entries: Sequence[Entry]) -> list[tuple[int, int]]:
    marked = [entry for entry in entries if entry.likeness]
    return [(marked[i].id, marked[j].id) for i, j, _ in alike([str(e.likeness) for e in marked])[:200]]
