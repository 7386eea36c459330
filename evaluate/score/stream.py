"""`dialtell score --csv`: a row per photograph as soon as it is scored, in the order given, on all cores.

Run again, it goes on where it was cut off: finished rows are kept, a half-written last line is taken off.
"""

from __future__ import annotations

import csv
import io
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import partial
from multiprocessing import parent_process
from pathlib import Path
from typing import Any

from dialtell.evaluate.museum.local_addresses import Place
from dialtell.evaluate.score.addresses import Fetcher, Source
from dialtell.evaluate.score.known_table import KnownTable
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.reading.known import UNKNOWN, Known
from dialtell.synth.shared.errors import DialtellError, OutputError, require_range
from dialtell.synth.shared.files import append
from dialtell.synth.shared.locks import alone
from dialtell.synth.shared.tables import guarded, rows_text
from dialtell.synth.shared.terms import ZONES
from dialtell.synth.shared.workers import WorkerDied, in_order

ZONE_COLUMNS = tuple(zone.value.replace(" ", "_") for zone in ZONES)
COLUMNS = (
    "photo", "call", "log10_lr", "probability_hand", "support", "reason", "pixels_per_mm", "pixels_across",
    "print_process", "print_log10_lr",
    *(f"{zone}_{part}" for zone in ZONE_COLUMNS for part in ("call", "log10_lr")),
    "warnings", "error", "weights_sha256",
)  # fmt: skip
AHEAD = 4  # photographs handed out to each worker before the first of them is written


@dataclass(frozen=True)
class StreamSettings:
    """What every worker needs. weights : path or None for the shipped ones. known : of all photographs, or of each.
    hosts : (host, port) pairs of the web that photographs may be brought from.
    device : where the nets run, as `load_weights` takes it; workers that read share a GPU.
    """

    weights: Path | None = None
    known: Known | KnownTable = UNKNOWN
    hosts: tuple[Place, ...] = ()
    device: str = "cpu"


# the photographs that are left, to (path, its entry) in the same order
Engine = Callable[[Sequence[Source], StreamSettings], Iterator[tuple[Source, dict[str, Any]]]]


def cell_name(path: object) -> str:
    """A photograph's name as the table holds it: no control marks, no formula."""
    return guarded(plain_name(path))


def row_of(entry: dict[str, Any], sha256: str) -> list[str | float | None]:
    """One row from a dial's or an error's entry in a document of schema dialtell.score/1."""
    row: dict[str, str | float | None] = dict.fromkeys(COLUMNS)
    row["photo"], row["weights_sha256"] = plain_name(entry["photo"]), sha256
    if "error" in entry:
        row["error"] = plain_name(entry["error"])
    else:
        row["call"], row["support"] = entry["call"], plain_name(entry["support"])
        row["reason"] = plain_name(entry["reason"])
        row["log10_lr"], row["probability_hand"] = entry["log10_lr"], entry["probability_hand"]
        if entry["geometry"] is not None:
            row["pixels_per_mm"] = entry["geometry"]["pixels_per_mm"]
            row["pixels_across"] = entry["geometry"]["pixels_across"]
        if (printing := entry.get("print_process")) is not None:
            row["print_process"], row["print_log10_lr"] = printing["call"], printing["log10_lr"]
        for zone in entry["zones"]:
            name = str(zone["zone"]).replace(" ", "_")
            row[f"{name}_call"] = zone["call"] if zone["judged"] else "not judged"
            row[f"{name}_log10_lr"] = zone["log10_lr"]
        row["warnings"] = " | ".join(plain_name(warning) for warning in entry["warnings"])
    return [row[name] for name in COLUMNS]


def finished_rows(path: Path, sha256: str, *, overwrite: bool) -> Counter[str]:
    """How often `path` holds each photograph's name already; makes the file ready to be added to.

    Raises OutputError when the file is no such table, or one made with other weights.
    """
    if path.exists() and not path.is_file():
        raise OutputError(f"{path} is no file that rows can be added to; give --csv a file's name")
    if overwrite or not path.exists() or path.stat().st_size == 0:
        if not path.parent.is_dir():
            raise OutputError(f"{path} cannot be written, there is no folder {path.parent}; make it first")
        _write(path, COLUMNS, afresh=True)
        return Counter()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise OutputError(f"{path} cannot be read ({error.strerror}); give another --csv") from error
    whole = data[: data.rfind(b"\n") + 1]
    try:
        rows = list(csv.reader(io.StringIO(whole.decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error):
        rows = []
    if not rows and data and _line(COLUMNS).startswith(data.decode("utf-8", "replace")):
        rows = [list(COLUMNS)]  # cut off within its own first line
        whole = _line(COLUMNS).encode()
    if not rows or tuple(rows[0]) != COLUMNS:
        raise OutputError(f"{path} is not a table of calls; give another --csv, or --overwrite to replace it")
    for number, row in enumerate(rows[1:], start=2):
        if len(row) != len(COLUMNS):
            raise OutputError(f"{path}, row {number} is damaged; give another --csv, or --overwrite to replace it")
        if row[-1] != sha256:
            raise OutputError(
                f"{path} holds calls made with other weights ({row[-1][:12]}); give another --csv, or --overwrite"
            )
    if whole != data:
        if not data.startswith(whole):
            _write(path, COLUMNS, afresh=True)
        else:
            os.truncate(path, len(whole))
    return Counter(row[0] for row in rows[1:])


def _line(row: Sequence[object]) -> str:
    return rows_text([row], floats="g")


def _write(path: Path, row: Sequence[object], *, afresh: bool = False) -> None:
    """Write one line, all of it or nothing; a link of the user's own is followed."""
    try:
        append(path, _line(row).encode(), afresh=afresh, synced=True)
    except OSError as error:
        raise OutputError(f"{path} cannot be written ({error.strerror}); free some space or give another --csv; "
                          "run again to go on") from error  # fmt: skip


def stream_calls(
    paths: Sequence[Source],
    table: Path,
    settings: StreamSettings,
    *,
    sha256: str,
    workers: int = 0,
    overwrite: bool = False,
    judged: Engine | None = None,
) -> Iterator[tuple[Source, str]]:
    """Score the photographs not yet in `table`, adding a row for each; yields (path, its error or "") as rows land.

    workers : processes, 0 one per core, 1 none but this one. judged : another engine than processes here.
    """
    require_range("workers", workers, 0, 1024)
    if not table.exists() and table.parent.is_dir():
        _touch(table)
    taken = f"another run is adding to {table}; wait for it or give another --csv"
    with alone(table, taken) if os.access(table, os.R_OK) else nullcontext():  # else what follows says why
        done = finished_rows(table, sha256, overwrite=overwrite)
        left = []
        for path in paths:  # names that differ only in marks a table cannot hold stand there once each
            if done[cell_name(path)]:
                done[cell_name(path)] -= 1
            else:
                left.append(path)
        engine = judged or partial(_judged, workers=workers or os.cpu_count() or 1)
        for path, entry in engine(left, settings):
            _write(table, row_of(entry, sha256))
            yield path, str(entry.get("error", ""))


def _touch(path: Path) -> None:
    """Make an empty file, unless it is there."""
    try:
        path.touch()
    except OSError as error:
        raise OutputError(f"{path} cannot be written ({error.strerror}); give another --csv") from error


def _judged(paths: Sequence[Source], settings: StreamSettings, workers: int) -> Iterator[tuple[Source, dict[str, Any]]]:
    calls = in_order(judge, paths, min(workers, len(paths)), ahead=AHEAD, start=start_judging, arguments=(settings,))
    try:
        yield from zip(paths, calls, strict=True)
    except WorkerDied as error:
        raise OutputError(
            f"a process that scored photographs died near {plain_name(error.job)}, perhaps of too little memory; run "
            "again to go on, with fewer --workers"
        ) from error


_worker: dict[str, Any] = {}


def start_judging(settings: StreamSettings) -> None:
    """In each process that judges, before its first photograph."""
    from dialtell.model.net.device import one_thread
    from dialtell.model.net.weights_file import load_weights

    weights = load_weights(settings.weights, settings.device)
    if parent_process() is not None:
        one_thread()
    _worker.update(settings=settings, weights=weights, fetcher=Fetcher(settings.hosts))


def judge(source: Source) -> dict[str, Any]:
    """One photograph's entry, or its error's, in a process that was started so."""
    from dialtell.evaluate.score.score import score_photos

    settings: StreamSettings = _worker["settings"]
    near: AbstractContextManager[Path] = (
        nullcontext(source) if isinstance(source, Path) else _worker["fetcher"].brought(source)
    )
    try:
        with near as path:
            document = score_photos([path], _worker["weights"], known=settings.known)
    except OutputError:
        raise
    except DialtellError as error:  # of bringing it; what scoring finds wrong stands in the document
        return {"photo": str(source), "error": str(error)}
    entry: dict[str, Any] = (document["dials"] or document["errors"])[0]
    if "error" in entry:
        entry["error"] = entry["error"].replace(str(path), str(source))
    return {**entry, "photo": str(source)}
