"""`dialtell examine` killed at random moments: nothing that was answered as kept is lost, and nothing is doubled.

    python tests/trials kills/examine --kills 100

Each round starts the server on the same folder, adds photographs, notes opinions, marks places on photographs, takes
them back and fills in fields as fast as it is answered, and ends server and workers with SIGKILL at a moment drawn
within `--span` seconds, of its first breath and of its first answer in turn. What stood in an answer must then stand in
the folder, once; what was asked and not answered may or may not. At the end all that was left unread is read.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import threading
import time
import urllib.error
from collections.abc import Sequence
from http.client import HTTPException
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from trials.kills.examine_served import Served, drawn

from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.record import ExaminedDials

_CUT = (urllib.error.URLError, HTTPException, ConnectionError, TimeoutError, json.JSONDecodeError)


class Ledger:
    """What was answered as kept. open : what was asked last and not answered."""

    def __init__(self) -> None:
        self.dials: list[int] = []
        self.photographs: dict[str, int] = {}
        self.opinions: dict[tuple[int, str], str] = {}
        self.fields: dict[int, str] = {}
        self.places: dict[str, list[float]] = {}  # of a photograph: where the first corner of each place lies
        self.open: tuple[Any, ...] = ()
        self.answered = 0

    def faults(self, files: KeptFiles) -> list[str]:
        """What the folder lacks, or has twice."""
        found = []
        with files.opened() as dials:
            found += dials.faults()
            rows = dials.rows("SELECT sha256, dial, file FROM examined_photo", [])
            lies = {row["sha256"]: row for row in rows}
            for sha256, dial in self.photographs.items():
                row = lies.get(sha256)
                if row is None or row["dial"] != dial:
                    found.append(f"photograph {sha256[:8]} of dial {dial} is lost")
                elif hashlib.sha256(files.photograph(row["file"]).read_bytes()).hexdigest() != sha256:
                    found.append(f"photograph {sha256[:8]} holds other bytes")
            extra = set(lies) - set(self.photographs) - ({self.open[1]} if self.open[:1] == ("photograph",) else set())
            found += [f"photograph {sha256[:8]} came from nowhere" for sha256 in extra]
            for (dial, zone), label in self.opinions.items():
                said = dials.opinions(dial).get(zone, {}).get("label")
                if said != label and self.open != ("opinion", dial, zone, said):
                    found.append(f"opinion of {zone} of dial {dial} is {said}, not {label}")
            for dial, name in self.fields.items():
                said = dials.dial(dial)["name"]
                if said != name and self.open != ("field", dial, said):
                    found.append(f"name of dial {dial} is {said}, not {name}")
            for sha256, corners in self.places.items():
                marked = places(dials, sha256) if sha256 in lies else []
                if marked != corners and self.open != ("places", sha256, marked):
                    found.append(f"places on photograph {sha256[:8]} are {marked}, not {corners}")
            twice = "SELECT sha256 FROM {} GROUP BY sha256 HAVING count(*) > 1"
            found += [f"{row['sha256'][:8]} twice" for table in ("photo", "examined_photo")
                      for row in dials.rows(twice.format(table), [])]  # fmt: skip
        return found

    def settled(self) -> None:
        """Take what was not answered as it turned out; nothing is open any more."""
        self.open = ()

    def adopt(self, files: KeptFiles) -> None:
        """What was asked, not answered and kept all the same counts as kept from now on."""
        with files.opened() as dials:
            if self.open[:1] == ("photograph",):
                for row in dials.rows("SELECT dial FROM examined_photo WHERE sha256 = ?", [self.open[1]]):
                    self.photographs[self.open[1]] = row["dial"]
            elif self.open[:1] == ("opinion",):
                said = dials.opinions(self.open[1]).get(self.open[2], {}).get("label")
                if said is not None:
                    self.opinions[self.open[1], self.open[2]] = said
            elif self.open[:1] == ("field",):
                name = dials.dial(self.open[1])["name"]
                if name is not None:
                    self.fields[self.open[1]] = name
            elif self.open[:1] == ("places",):
                self.places[self.open[1]] = places(dials, self.open[1])
            self.dials = [row["id"] for row in dials.rows("SELECT id FROM examined_dial", [])]
        self.settled()


def places(dials: ExaminedDials, sha256: str) -> list[float]:
    """Where the first corner of each place lies that is marked on a photograph."""
    return [place.polygon[0][0] for place in dials.said(sha256).places]


def work(served: Served, ledger: Ledger, rng: np.random.Generator) -> None:
    """One thing after another until the server is gone."""
    if not ledger.dials:
        ledger.dials.append(served.post("/dials", {})["id"])
    while True:
        dial, kind = int(rng.choice(ledger.dials)), rng.integers(10)
        if kind == 0:
            ledger.open = ("dial",)
            ledger.dials.append(served.post("/dials", {"blind": bool(rng.integers(2))})["id"])
        elif kind < 4:
            content = drawn(int(rng.integers(200))) + rng.bytes(8)  # of which no two are the same
            sha256 = hashlib.sha256(content).hexdigest()
            ledger.open = ("photograph", sha256)
            ledger.photographs[sha256] = served.add(dial, content, "drawn.jpg")["dial"]
        elif kind < 6:
            zone, label = str(rng.choice(["dial", "numerals"])), str(rng.choice(["painted", "printed", "cannot tell"]))
            ledger.open = ("opinion", dial, zone, label)
            served.post(f"/dials/{dial}/opinion", {"zone": zone, "label": label})
            ledger.opinions[dial, zone] = label
        elif kind < 8 and ledger.photographs:
            sha256 = str(rng.choice(list(ledger.photographs)))
            was, left = ledger.places.get(sha256, []), float(rng.integers(200))
            if len(was) > 30:
                continue
            now = was[:-1] if was and rng.integers(2) else [*was, left]
            ledger.open = ("places", sha256, now)
            if len(now) < len(was):
                served.post(f"/photographs/{sha256}/places/undo", {})
            else:
                corners = [[left, 10.0], [left + 20, 10.0], [left + 20, 30.0]]
                served.post(f"/photographs/{sha256}/places", {"what": "hand", "polygon": corners, "by": "kills"})
            ledger.places[sha256] = now
        else:
            name = rng.bytes(4).hex()
            ledger.open = ("field", dial, name)
            served.post(f"/dials/{dial}", {"name": name})
            ledger.fields[dial] = name
        ledger.answered += 1
        ledger.settled()
        time.sleep(float(rng.uniform(0, 0.1)))


def trial(folder: Path, kills: int, span: float, seed: int, minutes: float) -> dict[str, Any]:
    """kills : made; ready : of them after the server answered; answered : things kept; photographs; faults : in words;
    unread : photographs still waiting at the end."""
    rng, ledger, files = np.random.default_rng(seed), Ledger(), KeptFiles(folder)
    found: list[str] = []
    made = ready = 0
    end = time.monotonic() + 60 * minutes
    while made < kills and time.monotonic() < end:
        served = Served(folder, "--workers", "2")
        timer = threading.Timer(float(rng.uniform(0.05, span)), served.kill)
        if made % 2:
            timer.start()
        try:
            served.ready()
            ready += 1
            if not made % 2:
                timer.start()
            work(served, ledger, rng)
        except (*_CUT, ValueError):  # ValueError: killed before it said its address
            pass
        timer.join()
        made += 1
        if files.collection.is_file() and ready:
            found += [f"kill {made}: {fault}" for fault in ledger.faults(files)]
            ledger.adopt(files)
    served = Served(folder, "--workers", "2")
    try:
        served.ready()
        served.settle()
        with files.opened() as dials:
            unread = dials.rows("SELECT count(*) AS n FROM examined_photo WHERE state = 'waiting'", [])[0]["n"]
        found += [f"end: {fault}" for fault in ledger.faults(files)]
    finally:
        served.kill()
    return {"kills": made, "ready": ready, "answered": ledger.answered, "photographs": len(ledger.photographs),
            "unread": unread, "faults": found}  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Run it; 1 when something was lost or doubled."""
    parser = argparse.ArgumentParser(prog="kills/examine", description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--span", type=float, default=15.0, help="seconds within which each round is ended")
    parser.add_argument("--minutes", type=float, default=60.0, help="begin no round after so many")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args(arguments)
    with TemporaryDirectory() as folder:
        told = trial(Path(folder) / "dials", args.kills, args.span, args.seed, args.minutes)
    print(json.dumps(told, indent=1))
    return 1 if told["faults"] or told["unread"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
