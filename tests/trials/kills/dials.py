"""Drawing, scoring and collecting, cut off anywhere: what must hold when they were and when they are whole."""

from __future__ import annotations

import functools
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from trials.kills.workload import (
    DIALS,
    RADIUS_PX,
    SIDE_PX,
    Workload,
    differences,
    draw_photographs,
    remembered,
    run_dialtell,
)


class Draw(Workload):
    """`draw`: the folder is byte for byte that of a run left alone."""

    name = "draw"

    def prepare(self) -> None:
        import dialtell.evaluate.cli.draw
        import dialtell.synth.sets.set_folder  # noqa: F401
        from dialtell.synth.scene import Range
        from dialtell.synth.sets import manifest
        from dialtell.synth.sets.dial_set import DialSet

        low, high = (float(text) for text in RADIUS_PX)
        dials = DialSet(count=DIALS, seed=7, scope=Range(pixels_per_radius=(low, high), max_side=int(SIDE_PX)))
        if not self.compute:
            drawn = remembered(manifest.draw_picture, *((dials, one) for one in dials.pictures()))
            self.put(manifest, "draw_picture", drawn)

    def start(self, out: Path) -> int:
        return run_dialtell("draw", "--count", DIALS, "--seed", 7, "--max-side", SIDE_PX, "--pixels-per-radius",
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
        return differences(out, whole)


class Score(Workload):
    """`score --csv`: the table is byte for byte that of a run left alone, and at every cut a beginning of it."""

    name = "score"

    def prepare(self) -> None:
        import dialtell.evaluate.cli.score  # noqa: F401
        from dialtell.evaluate.score import stream as score_stream
        from dialtell.model.net import weights_file as store

        draw_photographs(self.input)
        (self.input / "broken.png").write_bytes(b"no picture")
        self.put(store, "load_weights", functools.cache(store.load_weights))
        score_stream.start_judging(score_stream.StreamSettings())
        paths = [(path,) for path in sorted(self.input.iterdir())]
        if self.compute:
            score_stream.judge(paths[0][0])
        else:
            self.put(score_stream, "judge", remembered(score_stream.judge, *paths))

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        code = run_dialtell("score", self.input, "--csv", out / "calls.csv", "--workers", 1, "--quiet")
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
        return differences(out, whole)


class Collection(Workload):
    """`collection add`: every photograph once with one call, all columns but the times equal."""

    name = "collection"

    def prepare(self) -> None:
        import dialtell.evaluate.cli.collection  # noqa: F401
        from dialtell.evaluate.collection import add as collection_add
        from dialtell.model.net import weights_file as store

        draw_photographs(self.input)
        self.put(store, "load_weights", functools.cache(store.load_weights))
        weights = store.load_weights(None)  # as the command asks for them
        score_photo = vars(collection_add)["score_photo"]
        paths = [(path, weights) for path in sorted(self.input.iterdir())]
        if self.compute:
            score_photo(*paths[0])
        else:
            self.put(collection_add, "score_photo", remembered(score_photo, *paths))

    def start(self, out: Path) -> int:
        out.mkdir(exist_ok=True)
        return run_dialtell("collection", "--quiet", "add", out / "dials.collection", self.input)

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
        from dialtell.evaluate.collection.file import CollectionFile

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
