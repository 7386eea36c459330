"""Links, pipes, devices, odd names and permissions: nothing is waited for, written through or left open to others."""

from __future__ import annotations

import os
import stat
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pytest
from late import ended_after

from dialtell.evaluate.collection import table as collection_table
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.label.store import LabelStore
from dialtell.evaluate.museum.folder import Gathered
from dialtell.evaluate.score import stream as score_stream
from dialtell.evaluate.score.stream import StreamSettings, stream_calls
from dialtell.model.reading.photo import read_photo, walk_photos
from dialtell.synth.sets.dial_set import DialSet
from dialtell.synth.sets.set_folder import SetFolder
from dialtell.synth.shared.errors import DialtellError, OutputError
from dialtell.synth.shared.files import write_text, write_whole

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and permissions of POSIX")
SHA = "a" * 64


@pytest.fixture(autouse=True)
def promptly():
    with ended_after(60):
        yield


@pytest.fixture
def fast(monkeypatch):
    """Photographs are called without being looked at."""
    entry = {"call": "printed", "log10_lr": -1.0, "probability_hand": 0.1, "support": "s", "reason": "r",
             "geometry": None, "zones": [], "warnings": []}  # fmt: skip
    monkeypatch.setattr(score_stream, "start_judging", lambda *_, **__: None)
    monkeypatch.setattr(score_stream, "judge", lambda path: {"photo": str(path), **entry})


def image(path):
    path.write_bytes(cv2.imencode(".png", np.full((40, 40, 3), 200, np.uint8))[1].tobytes())
    return path


def mode(path):
    return stat.S_IMODE(path.lstat().st_mode)


# --- links ---


def test_an_output_that_is_a_link_is_never_written_through(tmp_path):
    victim = tmp_path / "victim"
    victim.write_text("mine")
    for name, target in (("link", victim), ("dangling", tmp_path / "nowhere")):
        link = tmp_path / name
        link.symlink_to(target)
        with pytest.raises(OutputError, match="exists"):
            write_text(link, "new")
        with pytest.raises(OutputError, match="exists"):
            write_whole(link, b"new", overwrite=False)
        write_text(link, "new", overwrite=True)
        assert not link.is_symlink() and link.read_text() == "new"
    assert victim.read_text() == "mine" and not (tmp_path / "nowhere").exists()


def test_links_laid_where_drafts_are_written(tmp_path):
    """A link under the draft's name in a folder that others may write to must not lead the bytes elsewhere."""
    victim = tmp_path / "victim"
    victim.write_bytes(b"mine")
    for number in range(20):
        (tmp_path / f"{_draft_name(tmp_path / 'a.png')}{number}.part").symlink_to(victim)
    write_whole(tmp_path / "a.png", b"new", overwrite=False)
    assert (tmp_path / "a.png").read_bytes() == b"new"
    (tmp_path / ".labels.csv.lock").symlink_to(victim)
    with pytest.raises(DialtellError), LabelStore(tmp_path / "labels.csv"):
        pass
    (tmp_path / "got").mkdir()
    (tmp_path / "got" / "manifest.csv").symlink_to(tmp_path / "nowhere")
    with pytest.raises(OutputError, match="is a link"), Gathered(tmp_path / "got"):
        pass
    assert victim.read_bytes() == b"mine" and not (tmp_path / "nowhere").exists()


def test_links_in_a_folder_that_is_searched(tmp_path):
    """A loop ends, a link to nowhere is one photograph's fault, a folder is not left by a link to another."""
    folder, outside = tmp_path / "photos", tmp_path / "outside"
    folder.mkdir()
    outside.mkdir()
    image(outside / "far.png")
    image(folder / "a.png")
    (folder / "loop").symlink_to(folder)
    (folder / "away").symlink_to(outside)
    (folder / "self.png").symlink_to(folder / "self.png")
    (folder / "gone.png").symlink_to(tmp_path / "nowhere.png")
    found = walk_photos([folder])[0]
    assert {path.name for path in found} == {"a.png", "self.png", "gone.png"}
    for name in ("self.png", "gone.png"):
        with pytest.raises(DialtellError, match=name):
            read_photo(folder / name)


# --- pipes and devices ---


@pytest.fixture(params=["pipe", "device"])
def endless(request, tmp_path):
    """A path that never ends, or never begins."""
    path = tmp_path / "endless.png"
    if request.param == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")
    return path


def test_nothing_waits_for_a_pipe_or_a_device(endless, tmp_path, fast):
    dials = DialSet(count=1, seed=1)
    for act in (
        lambda: read_photo(endless),
        lambda: write_text(endless, "x", overwrite=True),
        lambda: write_whole(endless, b"x", overwrite=False),
        lambda: write_whole(endless, b"x", overwrite=True),
        lambda: CollectionFile(endless, create=True),
        lambda: LabelStore(endless).__enter__(),
        lambda: list(stream_calls([], endless, StreamSettings(), sha256=SHA)),
        lambda: list(stream_calls([], endless, StreamSettings(), sha256=SHA, overwrite=True)),
    ):
        with pytest.raises(DialtellError, match=r"endless\.png"):
            act()
    for name, kind in (("manifest.jsonl", SetFolder), ("manifest.csv", Gathered)):
        folder = tmp_path / name.replace(".", "-")
        folder.mkdir()
        (folder / name).symlink_to(endless)
        with pytest.raises(DialtellError), kind(*((folder, dials) if kind is SetFolder else (folder,))):
            pass
    assert endless.is_fifo() or endless.is_char_device()


def test_a_picture_of_a_set_that_became_a_pipe_is_missing(tmp_path):
    dials = DialSet(count=1, seed=1)
    with SetFolder(tmp_path, dials) as folder:
        folder.lines.append({"file": "0.png", "sha256": {"file": SHA}})
        os.mkfifo(tmp_path / "0.png")
        assert folder.missing() == [0]


# --- names ---


def test_names_that_are_no_text(tmp_path, fast):
    """A file system's bytes are kept in the collection, and come out escaped in tables and JSON."""
    photo = image(Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe.png")))
    with CollectionFile(tmp_path / "dials.collection", create=True) as dials:
        document = {"photo": str(photo), "call": "printed", "log10_lr": -1.0, "support": "s", "zones": []}
        weights = {"name": "w", "version": "1", "sha256": SHA}
        dials.add(photo, "0" * 64, likeness=None, thumbnail=None, weights=weights, document=document)
        (entry,) = dials.entries()
        assert entry.path == photo.resolve() and entry.path.exists()
        assert "\\udcff" in collection_table.csv_text([entry], dials)
        with pytest.raises(DialtellError, match="no text"):
            dials.set_fields(1, {"notes": "\udcff"})
    assert list(stream_calls([photo], tmp_path / "calls.csv", StreamSettings(), sha256=SHA)) == [(photo, "")]
    assert b"\\udcff" in (tmp_path / "calls.csv").read_bytes()
    write_text(tmp_path / "page.html", f"<p>{photo}</p>")
    assert b"\\udcff" in (tmp_path / "page.html").read_bytes()


def test_two_names_that_a_table_cannot_tell_apart_are_both_scored(tmp_path, fast):
    """Control marks become a "?" there; a run cut off between the two goes on with the second."""
    photos = [tmp_path / "a\x01.png", tmp_path / "a\x02.png", tmp_path / "b.png"]
    whole, cut = tmp_path / "whole.csv", tmp_path / "cut.csv"
    list(stream_calls(photos, whole, StreamSettings(), sha256=SHA, workers=1))
    cut.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:2]))
    list(stream_calls(photos, cut, StreamSettings(), sha256=SHA, workers=1))
    assert cut.read_bytes() == whole.read_bytes() and whole.read_bytes().count(b"\n") == 4


# --- who may read, and who may write at once ---


@pytest.mark.parametrize("mask", [0o022, 0o077])
def test_permissions_are_those_asked_for(mask, tmp_path):
    """A new file gets what the umask leaves, a replaced one keeps its own."""
    before = os.umask(mask)
    try:
        write_text(tmp_path / "new", "x")
        assert mode(tmp_path / "new") == 0o666 & ~mask
        for kept in (0o600, 0o640):
            os.chmod(tmp_path / "new", kept)
            write_text(tmp_path / "new", "y", overwrite=True)
            assert mode(tmp_path / "new") == kept
        with CollectionFile(tmp_path / "dials.collection", create=True):
            assert mode(tmp_path / "dials.collection") == 0o644 & ~mask
    finally:
        os.umask(before)


def test_drafts_are_the_owners_alone_and_lie_beside_their_target(tmp_path, monkeypatch):
    """As long as its permissions are not the final ones, which it gets when it is whole."""
    seen, change = [], os.chmod

    def look(path, wanted):
        seen.append((Path(path).parent, mode(Path(path)), Path(path).read_text()))
        change(path, wanted)

    monkeypatch.setattr(os, "chmod", look)
    write_text(tmp_path / "page.html", "secret")
    assert seen == [(tmp_path, 0o600, "secret")]


def test_a_killed_runs_draft_is_taken_away_and_a_living_ones_left(tmp_path):
    import fcntl

    target = tmp_path / "labels.csv"
    write_text(target, "one")
    living, dead, dead_too = (tmp_path / f"{_draft_name(target)}{number}.part" for number in (0, 1, 5))
    for path in (dead, living, dead_too):
        path.write_text("half")
    other = tmp_path / ".dialtell-0000000000-x.part"
    other.write_text("of another file")
    with living.open() as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        write_text(target, "two", overwrite=True)
        assert living.exists() and not dead.exists() and not dead_too.exists() and other.exists()
    assert target.read_text() == "two"


def _draft_name(target):
    """What stands before the number."""
    import hashlib

    return f".dialtell-{hashlib.sha256(target.name.encode()).hexdigest()[:10]}-"


def test_many_write_one_file_at_once(tmp_path):
    """Each whole, the last one stays, and no draft is left."""
    target = tmp_path / "calls.csv"
    with ThreadPoolExecutor(16) as pool:
        list(pool.map(lambda number: write_text(target, f"{number}" * 9999, overwrite=True), [*range(10)] * 10))
    assert len(set(target.read_text())) == 1 and len(target.read_text()) == 9999
    assert [path.name for path in tmp_path.iterdir()] == ["calls.csv"]


def test_two_runs_never_add_to_one_table_at_once(tmp_path, fast):
    photos = [tmp_path / "a.png", tmp_path / "b.png"]
    first = stream_calls(photos, tmp_path / "calls.csv", StreamSettings(), sha256=SHA, workers=1)
    next(first)
    with pytest.raises(OutputError, match="another run is adding"):
        next(stream_calls(photos, tmp_path / "calls.csv", StreamSettings(), sha256=SHA, workers=1))
    assert len(list(first)) == 1
