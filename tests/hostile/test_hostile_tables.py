"""Paths in a labels table: any regular file of the user's, nothing that never ends, nothing on another machine."""

from __future__ import annotations

import csv
import os
import sys

import pytest
from late import ended_after

from dialtell.evaluate.collection.add import file_hash
from dialtell.evaluate.label.photos import PhotoFolder
from dialtell.synth.shared.errors import DialtellError, PhotoError
from dialtell.train.photographs.labels import check_labels

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes of POSIX")


@pytest.fixture(autouse=True)
def promptly():
    with ended_after(30):
        yield


@pytest.mark.parametrize(
    "path",
    ["/dev/zero", "/dev/stdin", "pipe.png", "linked.png", "//server/share/a.png", "\\\\server\\share\\a.png", ".", "",
     "file:///etc/hostname", "https://example.org/a.png", "a\x00.png", "../../../../../../nowhere.png", "x" * 5000],
)  # fmt: skip
def test_paths_that_name_no_photograph(path, tmp_path):
    os.mkfifo(tmp_path / "pipe.png")
    (tmp_path / "linked.png").symlink_to("/dev/zero")
    with (tmp_path / "labels.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([("photo", "dial_process"), (path, "painted")])
    try:
        photos, problems = check_labels(tmp_path / "labels.csv")
    except DialtellError:
        return
    assert photos == [] and (problems == () or "row 2" in problems[0])


def test_a_path_upwards_is_the_users_own(tmp_path):
    (tmp_path / "labels").mkdir()
    (tmp_path / "a.png").write_bytes(b"x")
    (tmp_path / "labels" / "labels.csv").write_text("photo,dial_process\n../a.png,painted\n")
    (photo,) = check_labels(tmp_path / "labels" / "labels.csv")[0]
    assert photo.path.resolve() == (tmp_path / "a.png").resolve()


def test_pipes_among_photographs(tmp_path):
    os.mkfifo(tmp_path / "pipe.png")
    (tmp_path / "a.png").write_bytes(b"x")
    folder = PhotoFolder(tmp_path)
    assert [photo.name for photo in folder] == ["a.png"]
    assert [path.name for path, _ in folder.left_out] == ["pipe.png"]
    with pytest.raises(PhotoError, match=r"pipe\.png"):
        file_hash(tmp_path / "pipe.png")
