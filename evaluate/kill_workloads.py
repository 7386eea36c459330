"""Small runs of the commands that write much, and what must hold when one was cut off and when it is whole."""

from __future__ import annotations

import csv
import functools
import http.client
import io
import json
import os
import signal
import sqlite3
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import closing
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any, ClassVar

DIALS = 4
RADIUS_PX = ("90", "100")
SIDE_PX = "240"
PAUSE_S = 0.004  # that each picture drawn or judged takes where it is found in memory


class Said:
    """What a child says on both its streams, over a pipe: no limit on the size of files touches it."""

    def __init__(self) -> None:
        self._from, self.into = os.pipe()
        self._heard = b""

    def listen(self) -> None:
        """In the parent, once the child is there."""
        os.close(self.into)
        os.set_blocking(self._from, False)

    def text(self) -> str:
        """All that was said so far."""
        try:
            while piece := os.read(self._from, 65536):
                self._heard += piece
        except BlockingIOError:
            pass
        return self._heard.decode("utf-8", "replace")

    def close(self) -> None:
        """Hear no more."""
        os.close(self._from)


class Workload:
    """One command on small input; use as a context manager. `start` runs in a child, the rest in the parent.

    compute : every run draws and judges anew; else that is done once, and found in memory after PAUSE_S.
    """

    name: ClassVar[str]

    refused = ""  # what the last run said when it would not save, and lived on

    def __init__(self, folder: Path, *, compute: bool = False) -> None:
        self.input = folder
        self.compute = compute
        self._own: list[tuple[dict[str, Any], str, Any]] = []
        folder.mkdir()

    def __enter__(self) -> Workload:
        """Make the input, and load what children shall find in memory."""
        import cv2
        import torch

        torch.set_num_threads(1)
        cv2.setNumThreads(1)
        self.prepare()
        return self

    def __exit__(self, *_: object) -> None:
        """End what was begun for the runs."""
        for names, name, value in reversed(self._own):
            names[name] = value

    def put(self, module: Any, name: str, value: Any) -> None:
        """Have a module find `value` under a name of its own, until the runs end."""
        names = vars(module)
        self._own.append((names, name, names[name]))
        names[name] = value

    def prepare(self) -> None:
        """Make the input."""
        raise NotImplementedError

    def start(self, out: Path) -> int:
        """Run, or go on, into `out`; the exit status."""
        raise NotImplementedError

    def drive(self, child: int, out: Path, said: Said) -> None:
        """Do the user's part while the child runs."""

    def forget(self) -> None:
        """A run ended whole; the next begins anew."""

    def progress(self, out: Path) -> float:
        """Share done, 0..1, by what lies in `out`."""
        raise NotImplementedError

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        """What a cut off run left that it must not."""
        raise NotImplementedError

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        """How a run that was cut off and gone on with differs from one left alone."""
        raise NotImplementedError


def _dialtell(*words: object) -> int:
    from dialtell.evaluate.command import main

    return main([str(word) for word in words])


def _differences(out: Path, whole: Path) -> list[str]:
    """Files that are not in both folders with the same bytes, drafts included."""
    left, right = ({path.name: path.read_bytes() for path in sorted(folder.iterdir())} for folder in (out, whole))
    names = sorted(left.keys() | right.keys())
    return [f"{name} differs" for name in names if left.get(name) != right.get(name)]


def _draw_photographs(folder: Path) -> None:
    from dialtell.synth.dial_set import DialSet
    from dialtell.synth.manifest import draw_picture
    from dialtell.synth.scene import Range

    low, high = (float(text) for text in RADIUS_PX)
    dials = DialSet(count=DIALS, seed=5, scope=Range(pixels_per_radius=(low, high), max_side=int(SIDE_PX)))
    for picture in dials.pictures():
        drawn = draw_picture(dials, picture)
        (folder / f"{picture.index}.png").write_bytes(drawn.files[drawn.line["file"]])


def _remembered(function: Callable[..., Any], *inputs: Any) -> Callable[..., Any]:
    """A pure function with its results for these first arguments in memory."""
    results = {one: function(*one) for one in inputs}

    def recall(*words: Any, **_: Any) -> Any:
        time.sleep(PAUSE_S)
        return results[words[: len(inputs[0])]]

    return recall


class Draw(Workload):
    """`draw`: the folder is byte for byte that of a run left alone."""

    name = "draw"

    def prepare(self) -> None:
        import dialtell.synth.draw_command
        import dialtell.synth.set_folder  # noqa: F401
        from dialtell.synth import manifest
        from dialtell.synth.dial_set import DialSet
        from dialtell.synth.scene import Range

        low, high = (float(text) for text in RADIUS_PX)
        dials = DialSet(count=DIALS, seed=7, scope=Range(pixels_per_radius=(low, high), max_side=int(SIDE_PX)))
        if not self.compute:
            drawn = _remembered(manifest.draw_picture, *((dials, one) for one in dials.pictures()))
            self.put(manifest, "draw_picture", drawn)

    def start(self, out: Path) -> int:
        return _dialtell("draw", "--count", DIALS, "--seed", 7, "--max-side", SIDE_PX, "--pixels-per-radius",
                         *RADIUS_PX, "--workers", 1, "--out", out)  # fmt: skip

    def progress(self, out: Path) -> float:
        manifest = out / "manifest.jsonl"
        return manifest.read_bytes().count(b"\n") / DIALS if manifest.exists() else 0.0

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        faults = [
            f"{path.name} is not the picture that is drawn"
            for path in out.glob("[!.]*.png")
            if path.read_bytes() != (whole / path.name).read_bytes()
        ]
        lines = (out / "manifest.jsonl").read_bytes() if (out / "manifest.jsonl").exists() else b""
        if not (whole / "manifest.jsonl").read_bytes().startswith(lines):
            faults.append("the manifest is no beginning of the whole one")
        return faults

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        return _differences(out, whole)


class Score(Workload):
    """`score --csv`: the table is byte for byte that of a run left alone, and at every cut a beginning of it."""

    name = "score"

    def prepare(self) -> None:
        import dialtell.evaluate.score_command  # noqa: F401
        from dialtell.evaluate import score_stream
        from dialtell.model import store

        _draw_photographs(self.input)
        (self.input / "broken.png").write_bytes(b"no picture")
        self.put(store, "load_weights", functools.cache(store.load_weights))
        score_stream._start(score_stream.Settings(), None)
        paths = [(path,) for path in sorted(self.input.iterdir())]
        if self.compute:
            score_stream._score(paths[0][0])
        else:
            self.put(score_stream, "_score", _remembered(score_stream._score, *paths))

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        code = _dialtell("score", self.input, "--csv", out / "calls.csv", "--workers", 1, "--quiet")
        rows = (out / "calls.csv").read_bytes().count(b"\n") if (out / "calls.csv").exists() else 0
        return 0 if code == 1 and rows == DIALS + 2 else code  # 1 for the photograph that is none

    def progress(self, out: Path) -> float:
        table = out / "calls.csv"
        return min(1.0, max(0, table.read_bytes().count(b"\n") - 1) / (DIALS + 1)) if table.exists() else 0.0

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        rows = (out / "calls.csv").read_bytes() if (out / "calls.csv").exists() else b""
        good = (whole / "calls.csv").read_bytes().startswith(rows)
        return [] if good else ["the table is no beginning of the whole one"]

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        return _differences(out, whole)


class Collection(Workload):
    """`collection add`: every photograph once with one call, all columns but the times equal."""

    name = "collection"

    def prepare(self) -> None:
        import dialtell.evaluate.collection_command  # noqa: F401
        from dialtell.evaluate import collection_add
        from dialtell.model import store

        _draw_photographs(self.input)
        self.put(store, "load_weights", functools.cache(store.load_weights))
        weights = store.load_weights(None)  # as the command asks for them
        score_photo = vars(collection_add)["score_photo"]
        paths = [(path, weights) for path in sorted(self.input.iterdir())]
        if self.compute:
            score_photo(*paths[0])
        else:
            self.put(collection_add, "score_photo", _remembered(score_photo, *paths))

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        return _dialtell("collection", "--quiet", "add", out / "dials.collection", self.input)

    def _rows(self, out: Path) -> list[tuple[Any, ...]]:
        query = (
            "SELECT photo.sha256, path, likeness, thumbnail, weights_sha256, call, log10_lr, document FROM photo "
            "LEFT JOIN call ON call.photo = photo.id ORDER BY photo.id, call.id"
        )
        with closing(sqlite3.connect(out / "dials.collection")) as base:
            return base.execute(query).fetchall()

    def progress(self, out: Path) -> float:
        try:
            return len(self._rows(out)) / DIALS
        except sqlite3.OperationalError:  # not made yet
            return 0.0

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        from dialtell.evaluate.collection_file import CollectionFile

        place = out / "dials.collection"
        if not place.exists() or place.stat().st_size == 0:
            return []
        with CollectionFile(place) as collection:
            faults = collection.faults()
        rows = self._rows(out)
        return faults if rows == self._rows(whole)[: len(rows)] else [*faults, "rows differ from the whole ones"]

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        left = [path.name for path in out.iterdir() if path.name != "dials.collection"]
        faults = [f"{name} is left over" for name in left]
        return faults if self._rows(out) == self._rows(whole) else [*faults, "rows differ"]


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

        import dialtell.evaluate.label_command
        import dialtell.evaluate.label_server  # noqa: F401

        for number in range(self.photos):
            image = np.full((60, 60, 3), 60 + 40 * number, np.uint8)
            (self.input / f"{number}.png").write_bytes(cv2.imencode(".png", image)[1].tobytes())

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        return _dialtell("label", self.input, "--csv", out / "labels.csv", "--no-browser", "--quiet")

    def forget(self) -> None:
        self.answered = 0

    def drive(self, child: int, out: Path, said: Said) -> None:
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
            os.kill(child, signal.SIGINT)
        except (OSError, http.client.HTTPException, ValueError):  # it was killed
            return

    def _rows(self, out: Path) -> list[dict[str, str]]:
        from dialtell.evaluate.label_sheet import read_sheet

        rows = read_sheet(out / "labels.csv").rows if (out / "labels.csv").exists() else []
        return [{name: cell for name, cell in row.items() if name != "labelled_at"} for row in rows]

    def progress(self, out: Path) -> float:
        return self.answered / len(self.changes)

    def _wanted(self, count: int) -> dict[str, dict[str, str]]:
        from dialtell.evaluate.label_rules import changed
        from dialtell.train.labels import COLUMNS

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

        import dialtell.evaluate.download
        import dialtell.evaluate.gather_command  # noqa: F401
        from dialtell.evaluate.records import Record, records_text

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
        return _dialtell("gather", self.input / "records.csv", "--out", out, "--delay", 0, "--retries", 0,
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
        faults = [text for text in _differences(out, whole) if not text.startswith("manifest.csv")]
        key = functools.partial(json.dumps, sort_keys=True)
        same = sorted(map(key, self._lines(out))) == sorted(map(key, self._lines(whole)))
        return faults if same else [*faults, "the manifest's lines differ"]


class _KeptSupply:
    """Stands in for `train.supply.Supply`: pictures drawn once, in the parent, and found in memory by every run."""

    def __init__(self, workers: int = 0) -> None:
        self.workers = 1

    def __enter__(self) -> _KeptSupply:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to end."""

    def order_twins(self, seed: int, first: int, count: int, scope: Any) -> list[Future[Any]]:
        return [_done(_twins(seed, index, scope)) for index in range(first, first + count)]

    def order_singles(self, seed: int, count: int, scope: Any) -> list[Future[Any]]:
        return [_done(_single(seed, index, scope)) for index in range(count)]


@functools.cache
def _twins(seed: int, index: int, scope: Any) -> Any:
    from dialtell.train.bags import twin_bags

    return twin_bags(seed, index, scope)


@functools.cache
def _single(seed: int, index: int, scope: Any) -> Any:
    from dialtell.train.bags import single_bag

    return single_bag(seed, index, scope)


def _done(value: Any) -> Future[Any]:
    future: Future[Any] = Future()
    future.set_result(value)
    return future


class Train(Workload):
    """`train`, gone on with by --resume: the weights are byte for byte those of a run left alone.

    Checkpoints hold the same numbers and counters; safetensors lays counters down in no fixed order.
    """

    name = "train"
    epochs = 4

    def prepare(self) -> None:
        from dialtell.train import supply
        from dialtell.train.config import preset

        self.put(supply, "Supply", _KeptSupply)
        scope = preset("tiny").scope
        kept = _KeptSupply()
        kept.order_twins(1, 0, 2 * self.epochs, scope)
        for seed in (supply.VALIDATION_SEED, supply.CALIBRATION_SEED, supply.FIGURES_SEED):
            kept.order_singles(seed, 8, scope)

    def start(self, out: Path) -> int:
        if (out / "config.json").exists():
            return _dialtell("train", "--resume", out, "--quiet")
        return _dialtell("train", "--preset", "tiny", "--epochs", self.epochs, "--pairs", 2, "--device", "cpu",
                         "--workers", 1, "--out", out, "--quiet")  # fmt: skip

    def progress(self, out: Path) -> float:
        from safetensors import SafetensorError, safe_open

        try:
            with safe_open(out / "last.safetensors", framework="pt") as file:
                return int(file.metadata()["epoch"]) / self.epochs
        except (OSError, SafetensorError):
            return 0.0

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        from safetensors import SafetensorError, safe_open

        faults = []
        for path in out.glob("*.safetensors"):
            try:
                with safe_open(path, framework="pt"):
                    pass
            except SafetensorError as error:
                faults.append(f"{path.name} is not whole ({error})")
        return faults

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        apart = (
            "last.safetensors",
            "best.safetensors",
            "metrics.csv",
            "strokes.json",
            "config.json",
            "MODEL_CARD.md",
            "held_out_logits.npz",
        )
        faults = [text for text in _differences(out, whole) if not text.startswith(apart)]
        for reader in (_learnt, _described, _kept):
            if reader(out) != reader(whole):
                faults.append(f"{reader.__name__.strip('_')} differs")
        return faults


def _learnt(out: Path) -> list[dict[str, str]]:
    with (out / "metrics.csv").open(newline="") as file:
        return [{key: cell for key, cell in row.items() if "seconds" not in key} for row in csv.DictReader(file)]


def _kept(out: Path) -> list[Any]:
    from safetensors import safe_open

    found: list[Any] = []
    for name in ("last", "best"):
        with safe_open(out / f"{name}.safetensors", framework="np") as file:
            tensors = {key: file.get_tensor(key) for key in sorted(file.keys())}
            found.append((file.metadata(), {key: (value.shape, value.tobytes()) for key, value in tensors.items()}))
    return found


def _described(out: Path) -> Any:
    record = json.loads((out / "strokes.json").read_text("utf-8"))
    record["training"].pop("command")
    return record


WORKLOADS: dict[str, type[Workload]] = {kind.name: kind for kind in (Draw, Score, Collection, Label, Gather, Train)}
