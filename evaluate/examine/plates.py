"""Dials that one plate may have made, over the dials of an examination: which to lay on each other, what was found.

Findings are kept where `dialtell collection plates` keeps its own, pair by pair, so that a test that was ended goes on.
A dial whose call is kept back is laid on none: what was found would say how it was made.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from dialtell.evaluate.collection.file import Entry
from dialtell.evaluate.collection.table import pairs_for_readers
from dialtell.evaluate.compare.findings import CANNOT_TELL, DIFFERENT, ONE_PLATE, SEPARATE, pair_support
from dialtell.evaluate.examine import work
from dialtell.evaluate.examine.desk import PLATES, Desk
from dialtell.evaluate.examine.fields import called
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.listing import KEPT_BACK
from dialtell.evaluate.examine.record import ExaminedDials
from dialtell.evaluate.serving.doors import Refusal
from dialtell.synth.shared.errors import DialtellError

MOST, MOST_CHOSEN = 200, 20  # pairs laid at one asking, some 2 s each; dials chosen by hand
_AT_ONCE = 4  # pairs a worker lays before it may do something else
_SHOWN = 50  # pairs in the table


class PlateTest:
    """Lays dials on each other in the desk's workers, one asking at a time, what else is to be done first."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.left = 0  # pairs
        self.said = ""  # what is being done, or was done last
        self.errors: list[str] = []
        self._task: asyncio.Task[None] | None = None

    @property
    def busy(self) -> bool:
        """Whether dials are being laid on each other."""
        return self._task is not None and not self._task.done()

    def begin(self, chosen: Sequence[int] | None) -> None:
        """Lay these dials on each other, None all of like design. Raises Refusal."""
        if self.busy:
            raise Refusal(409, "dials are being laid on each other already; wait until that is done, or stop it")
        if chosen is not None and not 2 <= len(chosen) <= MOST_CHOSEN:
            raise Refusal(400, f"{len(chosen)} dials are chosen; choose 2 to {MOST_CHOSEN}")
        self.errors = []
        self.said = "Looking for dials of like design…" if chosen is None else "Looking at the chosen dials…"
        self._task = asyncio.create_task(self._lay(chosen))
        self.desk.version += 1

    async def stop(self) -> None:
        """Lay no more; what was found is kept."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self.left = 0
            self.desk.version += 1

    async def _lay(self, chosen: Sequence[int] | None) -> None:
        files, laid = self.desk.files, 0
        try:
            pairs, self.errors = await self.desk.run(PLATES, "of like design", work.plate_pairs, files, chosen)
            some = pairs[:MOST]
            self.left, some = len(some), sorted(some)  # those that share a dial one after the other: it is read once
            parts = iter([some[start : start + _AT_ONCE] for start in range(0, len(some), _AT_ONCE)])

            async def carry() -> None:
                nonlocal laid
                for part in parts:
                    self.said = f"Laying dials on each other: {_count(self.left, 'pair', 'pairs')} to go."
                    self.desk.version += 1
                    try:
                        wrong = await self.desk.run(
                            PLATES, "on each other", work.lay_on, files, part, self.desk.max_pixels
                        )
                    except DialtellError as error:
                        wrong = [str(error)]
                    self.errors = list(dict.fromkeys([*self.errors, *wrong]))
                    self.left -= len(part)
                    laid += len(part)

            # one worker stays free for photographs that come
            await asyncio.gather(*(carry() for _ in range(max(1, self.desk.workers - 1))))
            more = len(pairs) - len(some)
            self.said = f"{_count(laid, 'pair was', 'pairs were')} laid on each other now." if laid else (
                "There was nothing new to lay on each other."
            )  # fmt: skip
            if more:
                self.said += f" {more} more are of like design: ask again to go on."
        except asyncio.CancelledError:
            self.said = f"Stopped. {_count(laid, 'pair was', 'pairs were')} laid on each other."
            raise
        except DialtellError as error:
            self.said = "It could not be done."
            self.errors = [*self.errors, str(error)]
        finally:
            self.desk.version += 1


def numbers_of(given: Sequence[object]) -> list[int]:
    """Dials, each once. Raises Refusal."""
    texts = [str(each) for each in given if isinstance(each, str | int)]
    if len(texts) < len(given) or not all(text.isascii() and text.isdigit() and len(text) < 10 for text in texts):
        raise Refusal(400, "dials is no list of numbers")
    return sorted({int(text) for text in texts})


def views(dials: ExaminedDials, files: KeptFiles, chosen: Sequence[int] | None = None) -> dict[int, Entry]:
    """The photograph of each dial that shows it whole, as the collection has it, by dial. chosen : None for all."""
    rows = dials.rows(
        "SELECT c.id AS photo, d.id AS dial FROM examined_dial d JOIN examined_photo e ON e.dial = d.id "
        f"JOIN photo c ON c.sha256 = e.sha256 WHERE e.state = 'read' AND NOT d.aside AND NOT {KEPT_BACK} "
        "ORDER BY d.id, e.sha256 IS NOT d.cover, e.added_at",
        [],
    )
    found: dict[int, Entry] = {}
    for row in rows:
        if row["dial"] not in found and (chosen is None or row["dial"] in chosen):
            entry = here(dials, files, row["photo"])
            document = entry.document or {}
            if document.get("geometry") is not None and "close_up" not in document:
                # of ten thousand records no more is held than is looked at
                found[row["dial"]] = replace(entry, document={"geometry": document["geometry"]})
    return found


def here(dials: ExaminedDials, files: KeptFiles, photo: int) -> Entry:
    """A photograph of the collection, where it lies now: the folder may have been moved."""
    entry = dials.entry(photo)
    return replace(entry, path=files.photograph(dials.photograph(entry.sha256)["file"]))


def named(dials: ExaminedDials, error: DialtellError, entries: Iterable[Entry]) -> str:
    """What is wrong, in words, with photographs called as the person calls them."""
    words = str(error)
    for entry in entries:
        if str(entry.path) in words:
            words = words.replace(str(entry.path), dials.photograph(entry.sha256)["name"])
    return words


def plates_found(dials: ExaminedDials, chosen: Sequence[int] | None = None, *, every: bool = False) -> dict[str, Any]:
    """said : what was found, in a sentence or three; rows : pairs, the likeliest of one plate first, at most 50 of
    `listed`; kept_back : dials that are laid on none as their call is.

    chosen : only pairs of these dials. every : those drawn separately and of different designs too.
    """
    pairs = dials.pairs()
    ids = sorted({pair[name] for pair in pairs for name in ("first", "second")})
    lies = {
        row["photo"]: {name: row[name] for name in ("id", "name", "maker", "serial")}
        for row in dials.rows(
            "SELECT c.id AS photo, d.id, d.name, d.maker, d.serial FROM photo c JOIN examined_photo e "
            "ON e.sha256 = c.sha256 JOIN examined_dial d ON d.id = e.dial WHERE NOT d.aside "
            f"AND NOT {KEPT_BACK} AND c.id IN (SELECT value FROM json_each(?))",
            [json.dumps(ids)],
        )
    }
    newest: dict[tuple[int, ...], int] = {}  # two dials may have been laid by other photographs before
    for place, pair in enumerate(pairs):
        two = [lies[pair[name]]["id"] for name in ("first", "second") if pair[name] in lies]
        if len(set(two)) == 2 and (chosen is None or set(two) <= set(chosen)):
            key = tuple(sorted(two))
            if key not in newest or pairs[newest[key]]["made_at"] < pair["made_at"]:
                newest[key] = place
    kept = [pairs[place] for place in sorted(newest.values())]
    counts = Counter(pair["finding"] for pair in kept)
    listed = [pair for pair in kept if every or pair["finding"] in (ONE_PLATE, CANNOT_TELL)]
    rows = [
        {
            "dials": [lies[pair["first"]], lies[pair["second"]]], "finding": pair["finding"], "reason": pair["reason"],
            "support": pair_support(pair["finding"], pair["log10_lr"]), "note": pair["note"],
        }
        for pair in pairs_for_readers(listed[:_SHOWN], dials.entry, all_findings=True)
    ]  # fmt: skip
    query = f"SELECT count(*) AS n FROM examined_dial d WHERE NOT d.aside AND {KEPT_BACK}"
    return {"said": _sentences(counts), "rows": rows, "listed": len(listed), "laid": len(kept),
            "kept_back": dials.rows(query, [])[0]["n"]}  # fmt: skip


def _sentences(counts: Counter[str]) -> str:
    laid, one = counts.total(), counts[ONE_PLATE]
    others = [f"{counts[finding]} {what}" for finding, what in (
        (SEPARATE, "of the same design drawn separately"), (DIFFERENT, "of different designs"),
        (CANNOT_TELL, "of which it cannot be told"),
    ) if counts[finding]]  # fmt: skip
    agree = "They agree everywhere, as dials printed from one plate do and painted ones hardly ever."
    if laid == 1:
        (finding,) = counts.elements()
        known = "it cannot be told whether one plate made both" if finding == CANNOT_TELL else finding
        return f"Two dials were laid on each other: {known}.{f' {agree}' if one else ''}"
    if not laid:
        return ""
    words = [f"Of {laid} pairs of dials laid on each other, one plate fits both dials of {one or 'none'}."]
    if one:
        words.append(agree)
    if others:
        words.append(f"{'The others' if one else 'They are'}: {', '.join(others)}.")
    return " ".join(words)


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def like_pairs(
    dials: ExaminedDials, files: KeptFiles, chosen: Sequence[int] | None
) -> tuple[list[tuple[int, int]], list[str]]:
    """Photographs to be laid on each other that are not yet, the likeliest of one design first, and what is wrong.

    chosen : every two of these dials, None those of like design among all.
    """
    from dialtell.evaluate.collection.plates import propose, test_name

    seen = views(dials, files, chosen)
    wrong = [
        f"{called(dials.dial(number))} is laid on none: no photograph of the whole dial is read, or its call is kept "
        "back"
        for number in chosen or ()
        if number not in seen
    ]
    if chosen is None:
        proposed, faults = propose(seen.values())
        pairs = [(pair.first.id, pair.second.id) for pair in proposed]
        wrong += [named(dials, fault, seen.values()) for fault in faults]
    else:
        pairs = list(itertools.combinations(sorted(entry.id for entry in seen.values()), 2))
    done = {(pair["first"], pair["second"]) for pair in dials.pairs(test_name())}
    return [pair for pair in pairs if pair not in done], wrong
