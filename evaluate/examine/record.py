"""What an examination keeps: dials, their photographs, what a person marked, every reading and every opinion.

It is a collection file with tables of its own beside those of `dialtell collection`, made when they are first needed;
photographs, calls and the owner's fields also stand where that verb finds them. Each change is one transaction.
Opinions and readings are added, never replaced.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from dialtell.evaluate.collection.file import LABELS, CollectionFile, now
from dialtell.evaluate.examine.fields import cells_of, searched
from dialtell.model.reading.known import Known, MarkedPlace, known_from, place_from
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Zone

_SHARED = ("maker", "serial", "year", "size_mm", "notes")  # those that each photograph of a collection has too
DIAL = "dial"
PLACES = (DIAL, *(zone.value for zone in Zone if zone is not Zone.OTHER))
Places = tuple[MarkedPlace, ...]
WAITING, READ, FAILED = "waiting", "read", "failed"

_TABLES = (
    """
    CREATE TABLE IF NOT EXISTS examined_dial (
        id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, made_at TEXT NOT NULL, name TEXT, maker TEXT, serial TEXT,
        year INTEGER, size_mm REAL, size_as TEXT, source TEXT, price TEXT, notes TEXT, words TEXT NOT NULL DEFAULT '',
        cover TEXT, blind INTEGER NOT NULL, shown_at TEXT, aside INTEGER NOT NULL DEFAULT 0)
    """,
    "CREATE INDEX IF NOT EXISTS examined_dial_list ON examined_dial(aside, year, blind, shown_at)",
    # what now holds of a dial and its zones, so that a list of many can be searched
    """
    CREATE TABLE IF NOT EXISTS examined_standing (
        dial INTEGER NOT NULL REFERENCES examined_dial(id), zone TEXT NOT NULL, call TEXT NOT NULL,
        PRIMARY KEY (dial, zone)) WITHOUT ROWID
    """,
    "CREATE INDEX IF NOT EXISTS examined_standing_call ON examined_standing(zone, call, dial)",
    """
    CREATE TABLE IF NOT EXISTS examined_photo (
        sha256 TEXT PRIMARY KEY, dial INTEGER NOT NULL REFERENCES examined_dial(id), file TEXT NOT NULL,
        name TEXT NOT NULL, added_at TEXT NOT NULL, state TEXT NOT NULL, error TEXT NOT NULL, width INTEGER,
        height INTEGER, thumbnail BLOB, marked TEXT NOT NULL)
    """,
    "CREATE INDEX IF NOT EXISTS examined_photo_dial ON examined_photo(dial, added_at)",
    "CREATE INDEX IF NOT EXISTS examined_photo_state ON examined_photo(state)",
    """
    CREATE TABLE IF NOT EXISTS examined_reading (
        id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL REFERENCES examined_photo(sha256), made_at TEXT NOT NULL,
        marked TEXT NOT NULL, weights TEXT NOT NULL, weights_sha256 TEXT NOT NULL, document TEXT NOT NULL)
    """,
    "CREATE INDEX IF NOT EXISTS examined_reading_photo ON examined_reading(sha256, id)",
    """
    CREATE TABLE IF NOT EXISTS examined_together (
        id INTEGER PRIMARY KEY, dial INTEGER NOT NULL REFERENCES examined_dial(id), made_at TEXT NOT NULL,
        readings TEXT NOT NULL, weights TEXT NOT NULL, weights_sha256 TEXT NOT NULL, document TEXT NOT NULL)
    """,
    """
    CREATE TABLE IF NOT EXISTS examined_opinion (
        id INTEGER PRIMARY KEY, dial INTEGER NOT NULL REFERENCES examined_dial(id), zone TEXT NOT NULL,
        label TEXT NOT NULL, call_shown INTEGER NOT NULL, noted_at TEXT NOT NULL)
    """,
    # each change of the places marked on a photograph: what was marked before it, so that it can be taken back
    """
    CREATE TABLE IF NOT EXISTS examined_places (
        id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL REFERENCES examined_photo(sha256), made_at TEXT NOT NULL,
        before TEXT NOT NULL, marked_by TEXT NOT NULL, undone_at TEXT)
    """,
    "CREATE INDEX IF NOT EXISTS examined_places_photo ON examined_places(sha256, id)",
    "CREATE INDEX IF NOT EXISTS examined_opinion_dial ON examined_opinion(dial, zone, id)",
)


class ExaminedDials(CollectionFile):
    """The open file of an examination; use as a context manager, one for each piece of work.

    Raises what CollectionFile does, and ParameterError for a dial or photograph that is not there.
    """

    def prepare(self) -> None:
        """Make the tables where they are missing."""
        with self._change() as base:
            for table in _TABLES:
                base.execute(table)

    def rows(self, query: str, values: Sequence[Any]) -> list[dict[str, Any]]:
        """What a query finds."""
        return [dict(row) for row in self._all(query, tuple(values))]

    # --- dials ---

    def new_dial(self, *, blind: bool) -> int:
        """An empty dial; its number. blind : the call is kept back until a person has noted theirs."""
        query = "INSERT INTO examined_dial (uid, made_at, blind) VALUES (?, ?, ?)"
        with self._change() as base:
            return int(base.execute(query, (uuid.uuid4().hex, now(), blind)).lastrowid or 0)

    def change_dial(self, number: int, values: Mapping[str, Any]) -> None:
        """Set fields of a dial, as a form has them; None or "" empties one. A size comes as `size_mm`, `size` or
        `lignes`. Raises ParameterError for a wrong value."""
        cells = cells_of(values)
        if not cells:
            return
        was = self.dial(number)
        with self._change() as base:
            base.execute(
                f"UPDATE examined_dial SET {', '.join(f'{name} = ?' for name in cells)}, words = ? WHERE id = ?",
                (*cells.values(), searched(was | cells), number),
            )
            self._share_fields(number)
            if "size_mm" in cells and cells["size_mm"] != was["size_mm"]:  # the scale of every reading follows
                base.execute(
                    "UPDATE examined_photo SET state = ? WHERE dial = ? AND state = ?", (WAITING, number, READ)
                )
                self._settle(number)

    def _share_fields(self, number: int) -> None:
        """The dial's fields to its photographs in the collection; within a change."""
        assigned = ", ".join(f"{name} = (SELECT {name} FROM examined_dial WHERE id = ?1)" for name in _SHARED)
        self._base.execute(
            f"UPDATE photo SET {assigned} WHERE sha256 IN (SELECT sha256 FROM examined_photo WHERE dial = ?1)",
            (number,),
        )

    def set_blind(self, number: int, blind: bool) -> None:
        """Keep the dial's call back from now on, or no longer. Once shown it stays shown: one that was there to be seen
        before this was asked for was."""
        was = self.dial(number)
        with self._change() as base:
            base.execute("UPDATE examined_dial SET blind = ? WHERE id = ?", (blind, number))
            if not was["blind"]:
                base.execute(
                    "UPDATE examined_dial SET shown_at = ?2 WHERE id = ?1 AND shown_at IS NULL AND "
                    "EXISTS (SELECT 1 FROM examined_standing WHERE dial = ?1)",
                    (number, now()),
                )

    def set_aside(self, number: int, aside: bool) -> None:
        """Take a dial off the list, or put it back; nothing of it is lost."""
        self.dial(number)
        with self._change() as base:
            base.execute("UPDATE examined_dial SET aside = ? WHERE id = ?", (aside, number))

    def dial(self, number: int) -> dict[str, Any]:
        """A dial's fields, blind, shown_at, made_at."""
        rows = self._all("SELECT * FROM examined_dial WHERE id = ?", (number,)) if 0 < number < 2**63 else []
        if not rows:
            raise ParameterError(f"there is no dial {number}; go back to the list of dials")
        return dict(rows[0])

    # --- photographs ---

    def take(self, dial: int, sha256: str, file: str, name: str) -> int:
        """Keep a photograph under a dial; the dial it lies under, which is another if it was there already."""
        self.dial(dial)
        with self._change() as base:
            fresh = base.execute(
                "INSERT OR IGNORE INTO examined_photo (sha256, dial, file, name, added_at, state, error, marked) "
                "VALUES (?, ?, ?, ?, ?, ?, '', '{}')",
                (sha256, dial, file, name, now(), WAITING),
            ).rowcount
            if fresh:
                self._settle(dial)
            return int(base.execute("SELECT dial FROM examined_photo WHERE sha256 = ?", (sha256,)).fetchone()[0])

    def take_alone(self, sha256: str, file: str, name: str, *, called: str, blind: bool) -> tuple[int, bool]:
        """Keep a photograph under a new dial, made unless the photograph was there already; the dial it lies under,
        and whether it is new. called : the new dial's name."""
        rows = self._all("SELECT dial FROM examined_photo WHERE sha256 = ?", (sha256,))
        if rows:
            return int(rows[0]["dial"]), False
        cells_of({"name": called})  # is refused before a dial is made
        number = self.new_dial(blind=blind)
        self.change_dial(number, {"name": called})
        return self.take(number, sha256, file, name), True

    def part(self, sha256: str) -> int:
        """Lay a photograph under a new dial of its own, the number of which is returned: it shows another."""
        row = self.dial(self.photograph(sha256)["dial"])
        number = self.new_dial(blind=bool(row["blind"]))
        with self._change() as base:
            base.execute("UPDATE examined_photo SET dial = ? WHERE sha256 = ?", (number, sha256))
            base.execute("UPDATE examined_dial SET cover = NULL WHERE id = ? AND cover = ?", (row["id"], sha256))
            if row["size_mm"] is not None:  # which was the other's
                base.execute(
                    "UPDATE examined_photo SET state = ? WHERE sha256 = ? AND state = ?", (WAITING, sha256, READ)
                )
            # the photograph's fields and labels in the collection are the new dial's, which has none
            base.execute(
                "DELETE FROM label WHERE basis = 'by eye' AND photo = (SELECT id FROM photo WHERE sha256 = ?)",
                (sha256,),
            )
            self._share_fields(number)
            self._settle(row["id"])
            self._settle(number)
        return number

    def photographs(self, dial: int) -> list[dict[str, Any]]:
        """Of a dial, in the order added: sha256, file, name, state, error, width, height, marked, and its newest
        reading (a dict of schema dialtell.score/1's dials, None before it is read) with the reading's number."""
        rows = self._all(
            "SELECT p.sha256, p.file, p.name, p.state, p.error, p.width, p.height, p.marked, "
            "p.thumbnail IS NOT NULL AS seen, r.id AS reading, r.document FROM examined_photo p "
            "LEFT JOIN examined_reading r ON r.id = "
            "(SELECT max(id) FROM examined_reading WHERE sha256 = p.sha256) WHERE p.dial = ? ORDER BY p.added_at",
            (dial,),
        )
        return [
            {**dict(row), "marked": json.loads(row["marked"]), "seen": bool(row["seen"]),
             "document": None if row["document"] is None else json.loads(row["document"])}
            for row in rows
        ]  # fmt: skip

    def photograph(self, sha256: str) -> dict[str, Any]:
        """One photograph's row, without its reading."""
        rows = self._all("SELECT * FROM examined_photo WHERE sha256 = ?", (sha256,))
        if not rows:
            raise ParameterError("there is no such photograph")
        return dict(rows[0])

    def waiting(self) -> list[tuple[str, bool]]:
        """Photographs not read or not looked at yet, the first added first, and whether each has its thumbnail."""
        query = (
            "SELECT sha256, thumbnail IS NOT NULL FROM examined_photo "
            "WHERE state = ? OR (state = ? AND thumbnail IS NULL) ORDER BY added_at"
        )
        return [(row[0], bool(row[1])) for row in self._all(query, (WAITING, READ))]

    def apart(self) -> list[int]:
        """Dials of several photographs, all read, that have no opinion of them together yet."""
        rows = self._all(
            "SELECT dial FROM examined_photo WHERE dial NOT IN (SELECT dial FROM examined_standing) "
            "GROUP BY dial HAVING sum(state = ?) > 1 AND sum(state = ?) = 0 ORDER BY dial",
            (READ, WAITING),
        )
        return [row[0] for row in rows]

    def said(self, sha256: str) -> Known:
        """What a person said of a photograph and of its dial's size."""
        row = self.photograph(sha256)
        size = self.dial(row["dial"])["size_mm"]
        return replace(known_from(json.loads(row["marked"])), diameter_mm=size)

    def mark(self, sha256: str, marked: Mapping[str, Any]) -> None:
        """Keep what a person marked on a photograph (outline, twelve_deg, close_up), in place of what they marked
        before; the places they marked stay. It waits to be read anew. Raises ParameterError where it is out of range.
        """
        said = known_from(marked)
        with self._change():
            row = self.photograph(sha256)
            self._mark(row, replace(said, places=_places(row)))

    def _mark(self, row: Mapping[str, Any], said: Known) -> None:
        """Within a change."""
        self._base.execute(
            "UPDATE examined_photo SET marked = ?, state = ?, error = '' WHERE sha256 = ?",
            (json.dumps(said.record()), WAITING, row["sha256"]),
        )
        self._settle(row["dial"])

    def change_places(self, sha256: str, change: Callable[[Places], Places], by: str) -> None:
        """Change which places are marked on a photograph; it waits to be read anew. by : who changes it.
        Raises ParameterError where there are too many."""
        with self._change() as base:
            row = self.photograph(sha256)
            before = _places(row)
            after = change(before)
            if after == before:
                return
            said = replace(known_from(json.loads(row["marked"])), places=after)
            base.execute(
                "INSERT INTO examined_places (sha256, made_at, before, marked_by) VALUES (?, ?, ?, ?)",
                (sha256, now(), json.dumps([place.record() for place in before]), by),
            )
            self._mark(row, said)

    def undo_places(self, sha256: str) -> None:
        """Take the last change of the marked places back that was not taken back yet, if there is one."""
        with self._change() as base:
            last = self._last_places(sha256)
            if last is None:
                return
            row = self.photograph(sha256)
            places = tuple(map(place_from, json.loads(last["before"])))
            base.execute("UPDATE examined_places SET undone_at = ? WHERE id = ?", (now(), last["id"]))
            self._mark(row, replace(known_from(json.loads(row["marked"])), places=places))

    def _last_places(self, sha256: str) -> dict[str, Any] | None:
        query = "SELECT * FROM examined_places WHERE sha256 = ? AND undone_at IS NULL ORDER BY id DESC LIMIT 1"
        return next((dict(row) for row in self._all(query, (sha256,))), None)

    def can_undo_places(self, sha256: str) -> bool:
        """Whether a change of the marked places is left to be taken back."""
        return self._last_places(sha256) is not None

    def marker(self) -> str:
        """Who marked a place last, "" where nobody said who they are."""
        rows = self._all("SELECT marked_by FROM examined_places ORDER BY id DESC LIMIT 1", ())
        return str(rows[0][0]) if rows else ""

    def looked(self, sha256: str, thumbnail: bytes, width: int, height: int) -> None:
        """Keep a photograph's thumbnail and size in px."""
        with self._change() as base:
            base.execute(
                "UPDATE examined_photo SET thumbnail = ?, width = ?, height = ? WHERE sha256 = ?",
                (thumbnail, width, height, sha256),
            )

    def thumbnail(self, sha256: str) -> bytes | None:
        """A small JPEG, None before the photograph was looked at."""
        found = self.photograph(sha256)["thumbnail"]
        return None if found is None else bytes(found)

    def keep_failure(self, sha256: str, words: str) -> None:
        """A photograph could not be read, and why."""
        row = self.photograph(sha256)
        with self._change() as base:
            base.execute("UPDATE examined_photo SET state = ?, error = ? WHERE sha256 = ?", (FAILED, words, sha256))
            self._settle(row["dial"])

    # --- readings ---

    def keep_reading(
        self, sha256: str, known: Known, path: Path, likeness: str, weights: Mapping[str, Any],
        document: Mapping[str, Any],
    ) -> bool:  # fmt: skip
        """Keep a reading in one step; False, and nothing kept, where more was marked since it was asked for."""
        if self.said(sha256) != known:
            return False
        row = self.photograph(sha256)
        self.add(path, sha256, likeness=likeness, thumbnail=row["thumbnail"], weights=weights, document=document)
        text, named = json.dumps(document, allow_nan=False), f"{weights['name']} {weights['version']}"
        with self._change() as base:
            base.execute(
                "INSERT INTO examined_reading (sha256, made_at, marked, weights, weights_sha256, document) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (sha256, now(), row["marked"], named, weights["sha256"], text),
            )
            # the collection's call follows the newest reading; the older ones stand in examined_reading
            base.execute(
                "UPDATE call SET call = ?, log10_lr = ?, document = ? WHERE weights_sha256 = ? AND photo = "
                "(SELECT id FROM photo WHERE sha256 = ?)",
                (document["call"], document["log10_lr"], text, weights["sha256"], sha256),
            )
            base.execute("UPDATE examined_photo SET state = ?, error = '' WHERE sha256 = ? AND marked = ?",
                         (READ, sha256, row["marked"]))  # fmt: skip
            self._share_fields(row["dial"])
            self._share_opinions(row["dial"])
            self._settle(row["dial"])
        return True

    def readings(self, sha256: str) -> list[dict[str, Any]]:
        """All readings of a photograph, oldest first: made_at, marked, weights, document."""
        query = "SELECT made_at, marked, weights, document FROM examined_reading WHERE sha256 = ? ORDER BY id"
        return [
            {**dict(row), "marked": json.loads(row["marked"]), "document": json.loads(row["document"])}
            for row in self._all(query, (sha256,))
        ]

    def keep_together(
        self, dial: int, readings: list[int], weights: Mapping[str, Any], document: Mapping[str, Any]
    ) -> None:
        """Keep the one opinion of a dial's photographs. readings : the numbers of those it is made of."""
        named = f"{weights['name']} {weights['version']}"
        with self._change() as base:
            base.execute(
                "INSERT INTO examined_together (dial, made_at, readings, weights, weights_sha256, document) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (dial, now(), json.dumps(readings), named, weights["sha256"], json.dumps(document, allow_nan=False)),
            )
            self._settle(dial)

    def together(self, dial: int, readings: list[int]) -> dict[str, Any] | None:
        """The one opinion made of exactly these readings; None before it is made."""
        rows = self._all(
            "SELECT document FROM examined_together WHERE dial = ? AND readings = ? ORDER BY id DESC LIMIT 1",
            (dial, json.dumps(readings)),
        )
        return None if not rows else dict(json.loads(rows[0]["document"]))

    def whole(self, dial: int) -> tuple[dict[str, Any] | None, bool]:
        """What now holds of a dial: the record, and whether it is that of several photographs together. None while any
        of them waits to be read, or the opinion of them all is not made yet."""
        photos = self.photographs(dial)
        read = [photo for photo in photos if photo["state"] == READ]
        if not read or any(photo["state"] == WAITING for photo in photos):
            return None, False
        if len(read) == 1:
            return read[0]["document"], False
        found = self.together(dial, [photo["reading"] for photo in read])
        return found, found is not None

    def _settle(self, dial: int) -> None:
        """Have the list follow what now holds of a dial; within a change."""
        document, _ = self.whole(dial)
        self._base.execute("DELETE FROM examined_standing WHERE dial = ?", (dial,))
        if document is not None:
            views = [Path(part["photo"]).stem for part in document.get("photographs", ())
                     if part["role"] == "whole view"]  # fmt: skip
            self._base.execute(
                "UPDATE examined_dial SET cover = coalesce(?, cover) WHERE id = ?", (views[0] if views else None, dial)
            )
            calls = {DIAL: document["call"]}
            calls |= {zone["zone"]: zone["call"] for zone in document["zones"] if zone["judged"]}
            self._base.executemany(
                "INSERT INTO examined_standing VALUES (?, ?, ?)", [(dial, zone, call) for zone, call in calls.items()]
            )

    # --- dials from elsewhere ---

    def keep_brought(self, dial: Mapping[str, Any], files: Mapping[str, str]) -> tuple[int, bool, list[str], list[str]]:
        """Keep a dial that was taken along, in one step: its number, whether it is new, its photographs that are new,
        and those that lie under another dial here.

        dial : as brought_in checks it. files : of its photographs that are in the folder, by hash. A dial that is
        there keeps its fields and opinions; only empty fields are filled.
        """
        cells, new, elsewhere = dial["cells"], [], []
        with self._change() as base:
            row = base.execute("SELECT * FROM examined_dial WHERE uid = ?", (dial["uid"],)).fetchone()
            if row is None:
                said = {**cells, **{name: dial[name] for name in ("uid", "made_at", "blind", "shown_at", "aside")}}
                said["words"] = searched(cells)
                names = ", ".join(said)
                query = f"INSERT INTO examined_dial ({names}) VALUES ({', '.join('?' * len(said))})"
                number = int(base.execute(query, tuple(said.values())).lastrowid or 0)
                base.executemany(
                    "INSERT INTO examined_opinion (dial, zone, label, call_shown, noted_at) VALUES (?, ?, ?, ?, ?)",
                    [(number, *one) for one in dial["opinions"]],
                )
            else:
                number = int(row["id"])
                if row["size_mm"] is not None:
                    cells = {name: value for name, value in cells.items() if name not in ("size_mm", "size_as")}
                said = {name: value for name, value in cells.items() if value is not None and row[name] is None}
                said["words"] = searched(dict(row) | said)
                assigned = ", ".join(f"{name} = ?" for name in said)
                base.execute(f"UPDATE examined_dial SET {assigned} WHERE id = ?", (*said.values(), number))
                if "size_mm" in said:
                    base.execute(
                        "UPDATE examined_photo SET state = ? WHERE dial = ? AND state = ?", (WAITING, number, READ)
                    )
            size = base.execute("SELECT size_mm FROM examined_dial WHERE id = ?", (number,)).fetchone()[0]
            for photo in dial["photographs"]:
                lies = base.execute(
                    "SELECT dial FROM examined_photo WHERE sha256 = ?", (photo["sha256"],)
                ).fetchone()  # fmt: skip
                if lies is not None and lies[0] != number:
                    elsewhere.append(photo["sha256"])
                elif lies is None and photo["sha256"] in files:
                    new.append(photo["sha256"])
                    self._keep_brought_photo(number, photo, files[photo["sha256"]], size)
            for one in dial["together"]:
                found = [
                    base.execute("SELECT id FROM examined_reading WHERE sha256 = ? AND made_at = ?", key).fetchone()
                    for key in one["readings"]
                ]
                readings = json.dumps([each[0] for each in found if each is not None])
                base.execute(
                    "INSERT INTO examined_together (dial, made_at, readings, weights, weights_sha256, document) "
                    "SELECT ?1, ?2, ?3, ?4, ?5, ?6 WHERE ?7 AND NOT EXISTS "
                    "(SELECT 1 FROM examined_together WHERE dial = ?1 AND made_at = ?2)",
                    (number, one["made_at"], readings, one["weights"], one["weights_sha256"],
                     json.dumps(one["document"], allow_nan=False), None not in found),
                )  # fmt: skip
            self._share_fields(number)
            self._share_opinions(number)
            self._settle(number)
        return number, row is None, new, elsewhere

    def _keep_brought_photo(self, dial: int, photo: Mapping[str, Any], file: str, size: float | None) -> None:
        """A photograph with its readings; within a change. It counts as read if the last of them holds for it."""
        marked, readings = json.dumps(photo["marked"]), photo["readings"]
        holds = bool(readings) and readings[-1]["marked"] == photo["marked"]
        holds = holds and readings[-1]["document"].get("known", {}).get("diameter_mm") == size
        self._base.execute(
            "INSERT INTO examined_photo (sha256, dial, file, name, added_at, state, error, marked) "
            "VALUES (?, ?, ?, ?, ?, ?, '', ?)",
            (photo["sha256"], dial, file, photo["name"], photo["added_at"], READ if holds else WAITING, marked),
        )
        self._base.executemany(
            "INSERT INTO examined_reading (sha256, made_at, marked, weights, weights_sha256, document) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            [(photo["sha256"], one["made_at"], json.dumps(one["marked"]), one["weights"], one["weights_sha256"],
              json.dumps(one["document"], allow_nan=False)) for one in readings],
        )  # fmt: skip

    # --- opinions ---

    def note(self, dial: int, zone: str, label: str) -> None:
        """A person's opinion of a zone, or of the dial; "" takes it back. Kept with whether the call was in view."""
        if zone not in PLACES:
            raise ParameterError(f"zone is {zone!r}; give one of {', '.join(PLACES)}")
        if label and label not in LABELS:
            raise ParameterError(f"label is {label!r}; give one of {', '.join(LABELS)}")
        shown = not self.kept_back(self.dial(dial))
        with self._change() as base:
            base.execute(
                "INSERT INTO examined_opinion (dial, zone, label, call_shown, noted_at) VALUES (?, ?, ?, ?, ?)",
                (dial, zone, label, shown, now()),
            )
            self._share_opinions(dial)

    def _share_opinions(self, dial: int) -> None:
        """The newest opinions as labels of the dial's photographs in the collection; within a change."""
        ours = "(SELECT id FROM photo JOIN examined_photo e ON e.sha256 = photo.sha256 WHERE e.dial = ?1)"
        newest = "id IN (SELECT max(id) FROM examined_opinion WHERE dial = ?1 GROUP BY zone)"
        self._base.execute(
            f"DELETE FROM label WHERE photo IN {ours} AND zone IN "
            f"(SELECT zone FROM examined_opinion WHERE {newest} AND label = '')",
            (dial,),
        )
        self._base.execute(
            "INSERT OR REPLACE INTO label SELECT p.id, o.zone, o.label, 'by eye', o.noted_at FROM "
            f"(SELECT * FROM examined_opinion WHERE {newest} AND label != '') o, (SELECT id FROM photo WHERE id IN "
            f"{ours}) p",
            (dial,),
        )

    def opinions(self, dial: int) -> dict[str, dict[str, Any]]:
        """The newest opinion by zone, those taken back left out: label, call_shown, noted_at."""
        rows = self._all(
            "SELECT zone, label, call_shown, noted_at FROM examined_opinion WHERE id IN "
            "(SELECT max(id) FROM examined_opinion WHERE dial = ? GROUP BY zone)",
            (dial,),
        )
        return {
            row["zone"]: {"label": row["label"], "call_shown": bool(row["call_shown"]), "noted_at": row["noted_at"]}
            for row in rows
            if row["label"]
        }

    def opinion_history(self, dial: int) -> list[dict[str, Any]]:
        """Every opinion ever noted of a dial, oldest first."""
        return [dict(row) for row in self._all("SELECT * FROM examined_opinion WHERE dial = ? ORDER BY id", (dial,))]

    @staticmethod
    def kept_back(dial: Mapping[str, Any]) -> bool:
        """Whether the program's call of a dial may not be shown yet."""
        return bool(dial["blind"]) and dial["shown_at"] is None

    def show_call(self, dial: int) -> None:
        """Show the call from now on. ParameterError where it is kept back and the person has said nothing yet."""
        row = self.dial(dial)
        if self.kept_back(row) and DIAL not in self.opinions(dial):
            raise ParameterError("note your own opinion of the dial first, then the call can be shown")
        with self._change() as base:
            base.execute("UPDATE examined_dial SET shown_at = ? WHERE id = ? AND shown_at IS NULL", (now(), dial))


def _places(row: Mapping[str, Any]) -> Places:
    return known_from(json.loads(row["marked"])).places
