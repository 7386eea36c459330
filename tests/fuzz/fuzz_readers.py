"""Coverage-guided fuzzing of every reader of a user's file, one at a time:

    pip install atheris
    python tests/fuzz/fuzz_readers.py photo --seconds 180 --keep findings/

Inputs grow from sound files towards new branches of dialtell, Pillow, csv and json (atheris instruments their Python
code; decoders in C are run, but do not guide it). A finding is any error other than dialtell's own, more than 10 s, or
more than 2 GB; each new one is printed with its place and, with --keep, its input stored.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import sys
import tempfile
import traceback
import warnings
from collections.abc import Callable, Sequence
from copy import deepcopy
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Any, NamedTuple


class Target(NamedTuple):
    """A reader. seeds : sound files. run : reads the file at a path. suffix : the file's."""

    seeds: Callable[[], list[bytes]]
    run: Callable[[Path], None]
    suffix: str
    modules: tuple[str, ...]


# --- photographs ---


def _photo_seeds() -> list[bytes]:
    from trials.bad_input.bad_pictures import bad_picture
    from trials.bad_input.sound_pictures import BASES, FORMS, sound

    odd = [bad_picture(index, seed=9).content for index in range(300)]
    return [sound(form, BASES - 1) for form in FORMS] + [data for data in odd if data and len(data) < 20_000]


def _photo(path: Path) -> None:
    from dialtell.model.reading.photo import read_photo

    photo = read_photo(path, max_pixels=1_000_000)
    grey = photo.grey
    if not (grey.shape == photo.pixels.shape[:2] and 0 <= grey.min() <= grey.max() <= 1):
        raise AssertionError(f"light of {grey.min()} to {grey.max()}, shape {grey.shape}")


# --- tables ---


def _labels_seeds() -> list[bytes]:
    head = (
        "photo,sha256,dial,source,object_type,size_mm,labeller,basis,dial_process,print_process,signature,numerals,"
        "minute_track,seconds_bit,outline,labelled_at,notes\n"
    )
    rows = (
        "a.jpg,,d1,s,pocket watch,44.8,me,by eye,painted,,painted,,cannot tell,,100 90 50 49 3,2024-01-01,'=x\n"
        '"b.jpg",,d1,s,,,,record,printed,transfer,printed,printed,,,,,"two\nlines"\n'
    )
    return [(head + rows).encode(), (head + rows).encode("utf-8-sig"), b"photo,dial_process\na.jpg,mixed\n"]


def _labels(path: Path) -> None:
    from dialtell.train.photographs.labels import check_labels

    for name in ("a.jpg", "b.jpg"):
        (path.parent / name).write_bytes(name.encode())
    check_labels(path)


def _records_seeds() -> list[bytes]:
    from importlib import resources

    table = (resources.files("dialtell.evaluate.museum") / "records.csv").read_text("utf-8").splitlines(keepends=True)
    return ["".join(table[:4]).encode(), ("".join(table[:1]) + table[9]).encode("utf-8-sig"), table[0].encode()]


def _records(path: Path) -> None:
    from dialtell.evaluate.museum.records import read_records, records_text

    records_text(read_records(path))


def _serials_seeds() -> list[bytes]:
    return [b"serial,year\n1,1880\n5000,1885.5\n", b'\xef\xbb\xbfserial,year,x\n"1,000",1880,a\n2 000,1881,b\n']


def _serials(path: Path) -> None:
    from dialtell.evaluate.period.serials import read_serials

    table = read_serials(path)
    for serial in (table.serials[0], table.serials[-1], sum(table.serials[:2]) // 2):
        table.years_of(serial)


def _calls_seeds() -> list[bytes]:
    from dialtell.evaluate.score.stream import COLUMNS

    head = ",".join(COLUMNS)
    row = ["a.jpg", "undetermined", "0.1"] + [""] * (len(COLUMNS) - 4) + ["0" * 64]
    return [f"{head}\n{','.join(row)}\n".encode(), f"{head}\n".encode(), f"{head}\n{','.join(row)[:40]}".encode()]


def _calls(path: Path) -> None:
    from dialtell.evaluate.score.stream import finished_rows

    finished_rows(path, "0" * 64, overwrite=False)
    if not path.read_bytes().endswith(b"\n"):
        raise AssertionError("a row cannot be added to what is left")


# --- drawn sets ---


@lru_cache(1)
def _line() -> str:
    from dialtell.synth.scene import Range, sample_spec
    from dialtell.synth.sets.manifest import as_text, drawn

    return as_text(
        drawn(sample_spec(5, 0, Range(max_side=160, pixels_per_radius=(50.0, 70.0))), plate=0, masks=False).line
    )


def _manifest_seeds() -> list[bytes]:
    return [_line().encode(), (_line() * 2).encode()]


def _manifest(path: Path) -> None:
    from dialtell.synth.sets.manifest import files_of, read_manifest, sha256_of_file, spec_of_line

    for line in read_manifest(path):
        for name in files_of(line):
            sha256_of_file(path.parent / name)
        spec_of_line(line)


# --- weights ---


@lru_cache(1)
def _net() -> tuple[bytes, dict[str, object]]:
    import torch

    from dialtell.model.net.net import NetConfig, StrokeNet
    from dialtell.model.net.weights_file import save_weights

    torch.manual_seed(0)
    record = {
        "name": "n", "version": "0", "renderer_version": "3", "training": {},
        "calibration": {"dial": {"slope": 1.0, "bounds": [[1.0, 0.5]]}, "zone": {}, "print": {"low": -1.0}},
        "figures": {},
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "n.safetensors"
        save_weights(path, StrokeNet(NetConfig(widths=(2, 2, 2, 2), code=2)), record)
        return path.read_bytes(), json.loads(path.with_suffix(".json").read_text("utf-8"))


def _weights_json_seeds() -> list[bytes]:
    return [json.dumps(_net()[1]).encode(), json.dumps(_net()[1], indent=1).encode()]


def _weights_json(path: Path) -> None:
    """The description changes, the numbers are sound; their sha256 is put right, so that checks beyond it are met."""
    from dialtell.evaluate.score.score import score_photos
    from dialtell.model.net.weights_file import load_weights

    numbers = path.with_suffix(".safetensors")
    numbers.write_bytes(_net()[0])
    try:
        record = json.loads(path.read_bytes())
        if isinstance(record, dict) and "sha256" in record:
            path.write_text(json.dumps({**record, "sha256": _net()[1]["sha256"]}), "utf-8")
    except (ValueError, RecursionError):
        pass
    weights = load_weights(numbers)
    json.dumps(score_photos([], weights), allow_nan=False)
    weights.dial_calibration.log10_lr(1.0), weights.zone_calibration.log10_lr(-1.0, 2.0)


def _weights_numbers_seeds() -> list[bytes]:
    return [_net()[0]]


def _weights_numbers(path: Path) -> None:
    from dialtell.model.net.weights_file import load_weights

    record = {**_net()[1], "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
    path.with_suffix(".json").write_text(json.dumps(record), "utf-8")
    load_weights(path)


# --- collections ---


@lru_cache(1)
def _base() -> bytes:
    from dialtell.evaluate.collection.file import CollectionFile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "c.collection"
        document = {
            "photo": "a.jpg",
            "call": "undetermined",
            "log10_lr": 0.1,
            "zones": [],
            "reason": "x",
            "support": "x",
        }
        with CollectionFile(path, create=True) as base:
            for sha in ("a" * 64, "b" * 64):
                base.add(Path("a.jpg"), sha, likeness="00" * 8, thumbnail=b"x",
                         weights={"name": "n", "version": "1", "sha256": "c" * 64}, document=document)  # fmt: skip
            base.set_label(1, "dial", "painted", "by eye")
        return path.read_bytes()


def _collection_seeds() -> list[bytes]:
    return [_base()]


def _collection(path: Path) -> None:
    from dialtell.evaluate.collection.file import CollectionFile

    for beside in path.parent.glob(path.name + "-*"):
        beside.unlink()
    with CollectionFile(path) as base:
        for entry in base.entries():
            base.history(entry.id), base.labels(entry.id)
        base.counts(), base.faults(), base.known("a" * 64, "c" * 64)


TARGETS: dict[str, Target] = {
    "photo": Target(_photo_seeds, _photo, ".jpg", ("dialtell.model.reading.photo",)),
    "labels": Target(_labels_seeds, _labels, ".csv", ("dialtell.train.photographs.labels",)),
    "records": Target(_records_seeds, _records, ".csv", ("dialtell.evaluate.museum.records",)),
    "serials": Target(_serials_seeds, _serials, ".csv", ("dialtell.evaluate.period.serials",)),
    "calls": Target(_calls_seeds, _calls, ".csv", ("dialtell.evaluate.score.stream",)),
    "manifest": Target(
        _manifest_seeds, _manifest, ".jsonl", ("dialtell.synth.shared.record", "dialtell.synth.sets.manifest")
    ),
    "weights-json": Target(_weights_json_seeds, _weights_json, ".json", ("dialtell.model.net.weights_file",)),
    "weights-numbers": Target(
        _weights_numbers_seeds, _weights_numbers, ".safetensors", ("dialtell.model.net.weights_file",)
    ),
    "collection": Target(_collection_seeds, _collection, ".collection", ("dialtell.evaluate.collection.file",)),
}


# --- JSON changed as JSON: bytes changed at random seldom leave it one ---

_ODD = (
    None, True, False, 0, 1, -1, 2**31, 2**63, -(2**64), 10**400, 1e308, -1e308, 5e-324, 0.5, float("nan"),
    float("inf"), "", "x", "NaN", "0", "../x", "a\0b", "\ud800", [], {}, [[]], [0], [None] * 3, {"a": 1},
    "A" * 3000, [1.0] * 2000,
)  # fmt: skip


def changed_json(data: bytes, seed: int) -> bytes:
    """The first line of JSON with one to three of its values exchanged, left out or doubled; other bytes unchanged."""
    random = Random(seed)
    first, _, others = data.partition(b"\n") if data.count(b"\n") < 3 else (data, b"", b"")
    try:
        whole = {"": json.loads(first)}
    except (ValueError, RecursionError):
        return data
    for _ in range(random.randint(1, 3)):
        places: list[tuple[Any, Any]] = []
        _walk(whole, places)
        holder, key = random.choice(places)
        what = random.random()
        if what < 0.7:
            holder[key] = deepcopy(random.choice(_ODD))
        elif what < 0.85 and holder is not whole:
            del holder[key]
        else:
            other, name = random.choice(places)
            holder[key] = json.loads(json.dumps(other[name]))
    return json.dumps(whole.get("")).encode() + (b"\n" + others if others else b"")


def _walk(node: Any, places: list[tuple[Any, Any]]) -> None:
    for key in node if isinstance(node, dict) else range(len(node)):
        places.append((node, key))
        if isinstance(node[key], (dict, list)):
            _walk(node[key], places)


class Trial:
    """Feeds inputs to a target. runs : how many. findings : place of each kind of error, with its words."""

    def __init__(self, name: str, folder: Path, keep: Path | None = None) -> None:
        self.target, self._keep, self.runs = TARGETS[name], keep, 0
        self._path = folder / f"input{self.target.suffix}"
        self.findings: dict[str, str] = {}

    def __call__(self, data: bytes) -> None:
        from dialtell.synth.shared.errors import DialtellError

        self.runs += 1
        self._path.write_bytes(data)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                self.target.run(self._path)
        except DialtellError as error:
            if str(error).strip():
                return
            self._found("an error without words", data)
        except Exception as error:
            ours = [
                frame for frame in traceback.extract_tb(error.__traceback__) if "fuzz_readers" not in frame.filename
            ]
            last = ours[-1] if ours else None
            inner = next((f for f in reversed(ours) if "/PIL/" not in f.filename and "/lib/" not in f.filename), last)
            place = (
                f"{type(error).__name__} in {Path(inner.filename).name}:{inner.lineno}"
                if inner
                else type(error).__name__
            )
            self._found(place, data, str(error))

    def _found(self, place: str, data: bytes, said: str = "") -> None:
        if place in self.findings:
            return
        self.findings[place] = said
        print(f"FINDING {place}: {said[:300]}", file=sys.stderr, flush=True)
        if self._keep is not None:
            self._keep.mkdir(parents=True, exist_ok=True)
            (self._keep / f"{hashlib.sha256(data).hexdigest()[:16]}{self.target.suffix}").write_bytes(data)


def main(arguments: Sequence[str] | None = None) -> int:
    """Fuzz one target until the time is up; libFuzzer ends the process itself."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=int, default=180, metavar="S")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="store inputs of findings there")
    args = parser.parse_args(arguments)
    try:
        import atheris
    except ImportError:
        print("fuzz_readers: atheris is not installed; pip install atheris", file=sys.stderr)
        return 2
    with atheris.instrument_imports(include=["dialtell.synth", "dialtell.model", "dialtell.train", "dialtell.evaluate",
                                             "PIL", "csv", "json"]):  # fmt: skip
        for module in ("PIL.JpegImagePlugin", "PIL.PngImagePlugin", "PIL.TiffImagePlugin", "PIL.GifImagePlugin",
                       "PIL.WebPImagePlugin", "PIL.BmpImagePlugin", "PIL.PpmImagePlugin", "PIL.Jpeg2KImagePlugin",
                       "PIL.AvifImagePlugin", "pillow_heif",
                       *TARGETS[args.target].modules):  # fmt: skip
            importlib.import_module(module)
    shared = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="dialtell-fuzz-", dir=shared if shared.is_dir() else None))
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, seed in enumerate(TARGETS[args.target].seeds()):
        (corpus / f"seed{number:03}").write_bytes(seed)
    trial = Trial(args.target, folder, args.keep)

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        other = changed_json(data, seed) if seed % 4 else data
        return other if other != data and len(other) <= most else atheris.Mutate(data, most)

    structured = {"custom_mutator": mutated} if TARGETS[args.target].suffix in (".json", ".jsonl") else {}
    atheris.Setup(
        [sys.argv[0], str(corpus), f"-max_total_time={args.seconds}", "-timeout=10", "-rss_limit_mb=2048",
         "-max_len=200000", "-print_final_stats=1", f"-artifact_prefix={folder}/"],
        trial,
        **structured,
    )  # fmt: skip
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
