"""Gathering and labelling, cut off anywhere: what must hold when they were and when they are whole."""

from __future__ import annotations

import csv
import functools
import http.client
import io
import json
import os
import signal
import time
from contextlib import closing
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any, ClassVar

from trials.kills.workload import (
    ProgramOutput,
    Workload,
    differences,
    run_dialtell,
)


def _interrupt(child: int) -> None:
    """Ctrl-C until it ends: one that arrives while Python runs a callback of its own is lost."""
    for _ in range(30):
        os.kill(child, signal.SIGINT)
        until = time.monotonic() + 2
        while time.monotonic() < until:
            if os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT | os.WNOHANG):
                return
            time.sleep(0.01)
    os.kill(child, signal.SIGKILL)


class Label(Workload):
    """`label`: each change that was answered is in the table, at most the one under way besides, none twice."""

    name = "label"
    photos = 3
    changes: ClassVar[list[tuple[int, str, str]]] = [
        (0, "dial_process", "painted"), (1, "dial_process", "printed"), (0, "notes", "=1+1, a \"quoted\" note"),
        (2, "dial_process", "cannot tell"), (1, "print_process", "transfer"), (0, "numerals", "painted"),
        (2, "notes", "seen"), (1, "size_mm", "44.5"), (2, "dial", "d2"), (0, "minute_track", "printed"),
        (1, "notes", "two"), (2, "basis", "record"),
    ]  # fmt: skip

    def __init__(self, folder: Path, *, compute: bool = False) -> None:
        super().__init__(folder, compute=compute)
        self.answered = 0

    def prepare(self) -> None:
        import cv2
        import numpy as np

        import dialtell.evaluate.cli.label
        import dialtell.evaluate.label.app  # noqa: F401

        for number in range(self.photos):
            image = np.full((60, 60, 3), 60 + 40 * number, np.uint8)
            (self.input / f"{number}.png").write_bytes(cv2.imencode(".png", image)[1].tobytes())

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        return run_dialtell("label", self.input, "--csv", out / "labels.csv", "--no-browser", "--quiet")

    def forget(self) -> None:
        self.answered = 0

    def drive(self, child: int, out: Path, said: ProgramOutput) -> None:
        """Send the changes that were not answered yet, one after another."""
        self.refused = ""
        while "token=" not in said.text():
            if os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT | os.WNOHANG):
                return
            time.sleep(0.005)
        url = said.text()[said.text().index("http://") :].split()[0]
        port, token = int(url.split(":")[2].split("/")[0]), url.rpartition("=")[2]
        headers = {
            "Cookie": f"dialtell-label-{port}={token}",
            "Origin": f"http://127.0.0.1:{port}",
            "Content-Type": "application/json",
        }
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as connection:
                connection.request("GET", "/photos", headers=headers)
                photos = json.loads(connection.getresponse().read())["photos"]
                for place, column, value in self.changes[self.answered :]:
                    body = {"id": photos[place]["id"], "changes": {column: value}}
                    connection.request("POST", "/change", json.dumps(body), headers)
                    reply = connection.getresponse()
                    words = reply.read().decode()
                    if reply.status != 200:  # a disk that is full is said, and the program lives on
                        self.refused = words
                        break
                    self.answered += 1
            _interrupt(child)
        except (OSError, http.client.HTTPException, ValueError):  # it was killed, or must be
            os.kill(child, signal.SIGKILL)

    def _rows(self, out: Path) -> list[dict[str, str]]:
        from dialtell.evaluate.label.sheet import read_sheet

        rows = read_sheet(out / "labels.csv").rows if (out / "labels.csv").exists() else []
        return [{name: cell for name, cell in row.items() if name != "labelled_at"} for row in rows]

    def progress(self, out: Path) -> float:
        return self.answered / len(self.changes)

    def _wanted(self, count: int) -> dict[str, dict[str, str]]:
        from dialtell.evaluate.label.rules import changed
        from dialtell.train.photographs.labels import COLUMNS

        rows: dict[str, dict[str, str]] = {}
        for place, column, value in self.changes[:count]:
            name = f"{place}.png"
            rows[name] = changed(rows.get(name, dict.fromkeys(COLUMNS, "")), {column: value})[0]
        return rows

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        rows = {Path(row["photo"]).name: row for row in self._rows(out)}
        if len(rows) != len(self._rows(out)):
            return ["a photograph has two rows"]
        own = ("photo", "sha256", "labeller", "labelled_at")
        found = {name: {key: cell for key, cell in row.items() if key not in own} for name, row in rows.items()}
        for count in (self.answered, self.answered + 1):
            wanted = self._wanted(count)
            if found == {n: {k: cell for k, cell in row.items() if k not in own} for n, row in wanted.items()}:
                return []
        return [f"the table does not hold what was answered ({self.answered} changes)"]

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        left = [path.name for path in out.iterdir() if path.name not in ("labels.csv", ".labels.csv.lock")]
        faults = [f"{name} is left over" for name in left if not name.startswith(".dialtell-")]
        if self.answered != len(self.changes):
            faults.append(f"only {self.answered} changes were answered")
        return faults if self._rows(out) == self._rows(whole) else [*faults, "rows differ"]


class Gather(Workload):
    """`gather` from a server of our own: each photograph once, whole and listed; lines equal but for the time."""

    name = "gather"
    photos = 6

    def prepare(self) -> None:
        from PIL import Image

        from dialtell.evaluate.museum.records import Record, records_text

        bodies = []
        for number in range(self.photos):
            stream = io.BytesIO()
            Image.effect_noise((120, 90), 40 + number).save(stream, "JPEG")
            bodies.append(stream.getvalue())

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                body = bodies[int(self.path[1:])]
                self.send_response(200)
                self.send_header("Content-Type", "image/jpeg")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                for at in range(0, len(body), 1024):  # in pieces, so that a kill finds one half come
                    self.wfile.write(body[at : at + 1024])
                    time.sleep(0.001)

            def log_message(self, format: str, *args: object) -> None:
                pass

        class Server(HTTPServer):
            def handle_error(self, request: Any, client_address: Any) -> None:
                pass

        server = Server(("127.0.0.1", 0), Handler)
        self.port = server.server_address[1]
        self.server = os.fork()
        if self.server == 0:
            server.serve_forever()
        server.server_close()
        records = [
            Record("Museum", "CC0", (f"http://127.0.0.1:{self.port}/{number}",), accession_number=f"={number}")
            for number in range(self.photos)
        ]
        (self.input / "records.csv").write_text(records_text(records), encoding="utf-8")

    def __exit__(self, *_: object) -> None:
        os.kill(self.server, signal.SIGKILL)
        os.waitpid(self.server, 0)
        super().__exit__(*_)

    def start(self, out: Path) -> int:
        return run_dialtell("gather", self.input / "records.csv", "--out", out, "--delay", 0, "--retries", 0,
                         "--allow-host", f"127.0.0.1:{self.port}", "--quiet")  # fmt: skip

    def _lines(self, out: Path) -> list[dict[str, str]]:
        place = out / "manifest.csv"
        data = place.read_bytes() if place.exists() else b""
        rows = csv.DictReader(io.StringIO(data[: data.rfind(b"\n") + 1].decode(), newline=""), strict=True)
        return [{name: cell for name, cell in row.items() if name != "retrieved"} for row in rows]

    def progress(self, out: Path) -> float:
        return min(1.0, len(list(out.glob("*.jpg"))) / self.photos)

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        listed = {line["file"] for line in self._lines(out)}
        faults = []
        for path in out.glob("*.jpg"):
            if path.read_bytes() != (whole / path.name).read_bytes():
                faults.append(f"{path.name} is not whole")
            if path.name not in listed:
                faults.append(f"{path.name} is not listed")
        return faults

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        faults = [text for text in differences(out, whole) if not text.startswith("manifest.csv")]
        key = functools.partial(json.dumps, sort_keys=True)
        same = sorted(map(key, self._lines(out))) == sorted(map(key, self._lines(whole)))
        return faults if same else [*faults, "the manifest's lines differ"]
