"""Bad photographs never take a batch down: refused in words, each with its one row, in bounded time and memory."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from checkout import TRIALS
from PIL import Image
from trials.bad_input.bad_containers import huge_head
from trials.bad_input.bad_input import Worker, faults_of, put, remove, run
from trials.bad_input.bad_pictures import KINDS, BadPicture, bad_picture
from trials.bad_input.sound_pictures import BASES, DIALS, FORMS, base_picture, sound, suffix_of

from dialtell.model.reading.photo import read_photo, walk_photos
from dialtell.synth.shared.errors import DialtellError, PhotoError


def test_files_are_a_function_of_seed_and_index_and_every_kind_comes():
    assert bad_picture(17, seed=3) == bad_picture(17, seed=3)
    assert {bad_picture(index, seed=1).kind for index in range(800)} == set(KINDS)
    names = [bad_picture(index, seed=1).name for index in range(800)]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("form", FORMS)
def test_every_sound_form_is_read_at_its_own_size(tmp_path, form):
    number = BASES - 1
    place = tmp_path / f"a{suffix_of(form)}"
    place.write_bytes(sound(form, number))
    photo = read_photo(place)
    assert photo.pixels.shape == base_picture(number).shape
    assert photo.grey.min() >= 0 and photo.grey.max() <= 1


def test_some_hundreds_of_bad_files_are_read_or_refused_in_words(tmp_path):
    """Reading alone: the whole of scoring is the slow test below."""
    results = {"read": 0, "refused": 0}
    for index in range(700):
        picture = bad_picture(index, seed=4)
        if picture.kind in ("large but allowed", "many scans"):
            continue
        place = put(picture, tmp_path)
        files, missing = walk_photos([place])
        assert len(files) + len(missing) <= 1  # a folder holds none
        try:
            for file in files:
                read_photo(file)
            said = str(missing[0][1]) if missing else ""
        except DialtellError as error:
            said = str(error)
        remove(place)
        results["refused" if said else "read"] += 1
        assert not (said and picture.sound), said
        assert not said or (str(place) in said and ";" in said and len(said) - len(str(place)) < 1000)
    assert min(results.values()) > 150


@pytest.mark.parametrize("form", ["png", "bmp", "gif", "tiff", "ppm", "webp", "jpeg", "jp2"])
def test_the_pixel_limit_holds_before_decoding_in_every_format(tmp_path, form):
    """The files hold next to no pixels: a reader that decoded first would call them damaged."""
    place = tmp_path / f"a.{form}"
    place.write_bytes(huge_head(form, 11_000, 11_100))
    with pytest.raises(PhotoError, match=r"11000 x 11100 = 122100000 pixels, more than the limit.*--max-pixels"):
        read_photo(place)
    place.write_bytes(huge_head(form, 16_000, 16_000))  # beyond what Pillow opens by itself: the limit was raised
    with pytest.raises(PhotoError, match="limit of 200000000"):
        read_photo(place, max_pixels=200_000_000)
    if form != "webp":  # whose decoder takes all of its pixels for grey
        with pytest.raises(PhotoError, match="cut off or damaged"):
            read_photo(place, max_pixels=300_000_000)


def test_the_limit_is_raised_only_while_a_file_is_read(tmp_path):
    usual = Image.MAX_IMAGE_PIXELS
    Image.new("1", (14_000, 14_000)).save(tmp_path / "a.png")
    with pytest.raises(PhotoError, match="far more pixels than the limit"):
        read_photo(tmp_path / "a.png", max_pixels=1000)
    assert read_photo(tmp_path / "a.png", max_pixels=200_000_000).stored_size == (14_000, 14_000)
    assert Image.MAX_IMAGE_PIXELS == usual


def test_later_pictures_of_any_size_are_not_decoded(tmp_path):
    first, later = Image.new("RGB", (60, 50), "red"), Image.new("RGB", (3000, 3000))
    first.save(tmp_path / "a.tif", save_all=True, append_images=[later], compression="tiff_adobe_deflate")
    photo = read_photo(tmp_path / "a.tif", max_pixels=10_000)
    assert photo.stored_size == (60, 50) and "more than one picture" in photo.warnings[0]


def test_what_is_no_file_is_refused_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    with pytest.raises(PhotoError, match=r"pipe\.jpg is a pipe or a device; save"):
        read_photo(tmp_path / "pipe.jpg")
    long = tmp_path / ("l" * 300 + ".jpg")
    files, errors = walk_photos([tmp_path / "loop.jpg", long, "a\0b.jpg", tmp_path])
    assert [str(path) for path, _ in errors] == [str(tmp_path / "loop.jpg"), str(long), "a\0b.jpg"]
    assert all("cannot be opened" in str(error) for _, error in errors)
    assert {file.name for file in files} == {"pipe.jpg", "loop.jpg"}
    with (tmp_path / "sparse.jpg").open("wb") as file:
        file.truncate(3 * 10**9)
    with pytest.raises(PhotoError, match="3000000000 bytes, more than a photograph of 120000000 pixels can need"):
        read_photo(tmp_path / "sparse.jpg")


def test_other_programs_are_not_run_for_a_file(tmp_path):
    """Pillow would hand an EPS to Ghostscript whatever its suffix."""
    place = tmp_path / "a.jpg"
    place.write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 300 300\n%%EndComments\n%%EOF\n")
    with pytest.raises(PhotoError, match="not an image that can be read"):
        read_photo(place)


def test_strips_and_many_scans_are_refused(tmp_path):
    Image.new("L", (1400, 33)).save(tmp_path / "strip.png")
    with pytest.raises(PhotoError, match="1400 x 33 px, a strip; give a photograph at most 40 times"):
        read_photo(tmp_path / "strip.png")
    content = sound("jpeg progressive", DIALS)
    frame = content.find(b"\xff\xc2")
    content = content[: frame + 5] + b"\x1f\x40\x1f\x40" + content[frame + 9 : -2]  # 8000 x 8000
    scans = (b"\xff\xda\0\x08\x01\x01\0\x01\x3f\0" + bytes(8)) * 3000
    (tmp_path / "scans.jpg").write_bytes(content + scans + b"\xff\xd9")
    with pytest.raises(PhotoError, match="scans in one picture"):
        read_photo(tmp_path / "scans.jpg")


def test_partly_transparent_light_lies_between_ground_and_picture(tmp_path):
    alpha = np.tile(np.arange(0, 256, 4, dtype=np.uint8), (40, 1))
    image = Image.new("RGB", (64, 40), "white")
    image.putalpha(Image.fromarray(alpha))
    image.save(tmp_path / "a.png")
    photo = read_photo(tmp_path / "a.png")
    expected = alpha / 255 + 0.18 * (1 - alpha / 255)
    assert photo.grey == pytest.approx(expected, abs=1e-5)
    assert photo.pixels[:, :, 1] == pytest.approx(expected, abs=1e-5)


def test_the_document_is_looked_through(tmp_path):
    place = tmp_path / "a.jpg"
    error = {"photo": str(place), "error": f"{place} is empty; copy it again"}
    assert faults_of(place, {"dials": [], "errors": [error]}, sound=False)[:2] == ("refused", "")
    assert "sound" in faults_of(place, {"dials": [], "errors": [error]}, sound=True)[1]
    assert "2 entries" in faults_of(place, {"dials": [], "errors": [error, error]}, sound=False)[1]
    bare = {"photo": str(place), "error": "bad"}
    assert "without name or remedy" in faults_of(place, {"dials": [], "errors": [bare]}, sound=False)[1]


@pytest.mark.slow
def test_a_worker_that_hangs_or_dies_is_replaced(tmp_path, make_weights):
    worker = Worker(seconds=0.001, weights=make_weights())
    try:
        picture = BadPicture("whole", b"a.png", sound("png", 0), sound=True)
        place = put(picture, tmp_path)
        assert "s" in worker.score(0, picture, place).fault
        worker._seconds = 30.0
        assert worker.score(1, picture, place).result == "read"
        worker._process.kill()
        assert "died" in worker.score(2, picture, place).fault
        assert worker.score(3, picture, place).result == "read"
    finally:
        worker.stop()


@pytest.mark.slow
def test_a_thousand_bad_files_through_the_whole_of_scoring(make_weights, tmp_path):
    worker = Worker(weights=make_weights(), page=tmp_path / "page.html")
    try:
        faults = [outcome for outcome in run(range(1000), 7, worker, inspect_every=250) if outcome.fault]
    finally:
        worker.stop()
    assert not faults


@pytest.mark.slow
def test_the_command_prints_counts_by_kind(tmp_path):
    command = [sys.executable, str(TRIALS), "bad_input/bad_input", "--count", "20", "--inspect-every", "0"]
    done = subprocess.run([*command, "--out", str(tmp_path / "o.jsonl")], capture_output=True, text=True, check=True)
    found = json.loads(done.stdout)
    assert found["files"] == 20 == sum(kind["files"] for kind in found["kinds"].values()) and found["faults"] == 0
    assert len(Path(tmp_path / "o.jsonl").read_text().splitlines()) == 20
