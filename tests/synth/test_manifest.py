"""Manifest lines: drawing again from them, and the set that they belong to."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from dialtell.synth.scene import Range, render
from dialtell.synth.sets.dial_set import DialSet, Picture
from dialtell.synth.sets.manifest import (
    Drawn,
    as_text,
    draw_picture,
    faults_of,
    files_of,
    read_manifest,
    sha256,
    spec_of_line,
)
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES, Process
from dialtell.synth.truth import label_masks

SMALL = Range(max_side=420, pixels_per_radius=(120.0, 180.0))
HAND = DialSet(count=3, seed=31, process="hand", masks=True, scope=SMALL)


@pytest.fixture(scope="module")
def picture() -> Drawn:
    return draw_picture(HAND, Picture(2, Process.HAND))


@pytest.fixture
def line(picture: Drawn) -> Any:
    return json.loads(as_text(picture.line))


def test_a_line_is_redrawn_byte_for_byte(picture: Drawn, line: Any) -> None:
    pixels = render(spec_of_line(line))
    assert sha256(pixels.tobytes()) == line["sha256"]["pixels"]
    decoded = cv2.imdecode(np.frombuffer(picture.files[line["file"]], np.uint8), cv2.IMREAD_COLOR)
    assert np.array_equal(decoded[..., ::-1], pixels)
    assert (line["height"], line["width"]) == pixels.shape[:2]


def test_a_line_carries_the_truth(picture: Drawn, line: Any) -> None:
    assert line["processes"] == {str(zone): "hand" for zone in ZONES}
    assert (line["index"], line["seed"], line["plate"]) == (2, 31, 2)
    masks = label_masks(HAND.spec_of(Picture(2, Process.HAND)))
    assert set(line["masks"]) == set(masks) and {"strokes", "fading"} <= set(masks)
    for label, share in masks.items():
        file = picture.files[line["masks"][label]["file"]]
        stored = cv2.imdecode(np.frombuffer(file, np.uint8), cv2.IMREAD_UNCHANGED)
        assert stored.dtype == np.uint8 and np.abs(stored / 255 - share).max() < 0.51 / 255
    # the centre of the dial under the homography, and the top of its rim on the outline
    matrix, radius = np.array(line["geometry"]["homography"]), line["geometry"]["dial_radius_mm"]
    top = matrix @ [0.0, -radius, 1.0]
    found = line["geometry"]["outline"]
    c, s = np.cos(found["angle_rad"]), np.sin(found["angle_rad"])
    x, y = top[:2] / top[2] - found["center_px"]
    a, b = found["axes_px"]
    assert np.hypot((c * x + s * y) / a, (c * y - s * x) / b) == pytest.approx(1, abs=1e-9)


def test_another_renderer_version_is_refused(line: Any) -> None:
    line["version"] = "0.9-old"
    with pytest.raises(ParameterError, match=r"000002-hand.png was drawn by renderer version 0.9-old.*anew"):
        spec_of_line(line)


def test_another_schema_is_refused(line: Any) -> None:
    line["schema"] = "other/1"
    with pytest.raises(ParameterError, match=r"'other/1'; give a line of dialtell.dials/1"):
        spec_of_line(line)


def test_faults_are_named(picture: Drawn, line: Any, tmp_path: Path) -> None:
    for name, data in picture.files.items():
        (tmp_path / name).write_bytes(data)
    assert faults_of(line, tmp_path) == []
    damaged, gone = line["file"], line["masks"]["fading"]["file"]
    (tmp_path / damaged).write_bytes(picture.files[damaged][:-1])
    (tmp_path / gone).unlink()
    assert faults_of(line, tmp_path) == [f"{damaged}: the file is not the one drawn", f"{gone}: missing"]
    line["spec"]["camera"]["seed"] += 1
    line["spec"]["making"]["workshop"]["seed"] += 1
    faults = faults_of(line, tmp_path)
    assert f"{damaged}: the picture redrawn has other pixels" in faults
    assert f"{damaged}: the masks redrawn differ" in faults


def drop_hash(line: Any) -> None:
    del line["sha256"]


def climb(line: Any) -> None:
    line["file"] = "../up.png"


@pytest.mark.parametrize("change", [drop_hash, climb])
def test_a_bad_line_is_named_by_number(
    picture: Drawn, line: Any, tmp_path: Path, change: Callable[[Any], None]
) -> None:
    change(line)
    path = tmp_path / "manifest.jsonl"
    path.write_text(as_text(picture.line) + as_text(line))
    with pytest.raises(ParameterError, match="line 2: not a line of"):
        read_manifest(path)


def test_a_missing_or_empty_manifest_says_so(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="No such file"):
        read_manifest(tmp_path / "none.jsonl")
    (tmp_path / "empty.jsonl").write_text("")
    with pytest.raises(ParameterError, match="has no lines"):
        read_manifest(tmp_path / "empty.jsonl")
    (tmp_path / "deep.jsonl").write_text("[" * 100_000)
    with pytest.raises(ParameterError, match="line 1: not a line of"):
        read_manifest(tmp_path / "deep.jsonl")


def test_files_of_a_line_are_those_drawn(picture: Drawn) -> None:
    assert files_of(picture.line) == {name: sha256(data) for name, data in picture.files.items()}


def test_a_dial_of_one_process_is_the_twin_of_the_dial_drawn() -> None:
    free = DialSet(count=20, seed=32, scope=SMALL)
    twins = replace(free, twins=True)
    for index in range(20):
        drawn = free.spec_of(Picture(index, None))
        process = drawn.making.processes[0]
        assert (
            drawn
            == twins.spec_of(Picture(index, process))
            == replace(free, process=str(process)).spec_of(Picture(index, process))
        )
    assert [p.process for p in list(twins.pictures())[:3]] == list(Process) and len(twins) == 60


def test_dials_from_one_plate_share_the_plate_and_nothing_of_the_sheet() -> None:
    pulled = DialSet(count=6, seed=33, process="transfer", plates=2, scope=SMALL)
    specs = [pulled.spec_of(picture) for picture in pulled.pictures()]
    assert [pulled.plate_of(index) for index in range(6)] == [0, 1, 0, 1, 0, 1]
    own = replace(pulled, plates=0)
    assert specs[:2] == [own.spec_of(Picture(index, Process.TRANSFER)) for index in range(2)]
    first, later = specs[0], specs[2::2]
    for spec in later:
        assert spec.design == first.design and spec.making.plate == first.making.plate
        assert spec.view.dial_radius_mm == first.view.dial_radius_mm
        assert spec.making.pull != first.making.pull and spec.making.exposure != first.making.exposure
        assert spec.making.workshop.seed != first.making.workshop.seed
        assert spec.making.workshop.figures == first.making.workshop.figures
        for name in ("view", "wear", "light", "camera", "body"):
            assert getattr(spec, name) != getattr(first, name), name
    assert later[0].view != later[1].view and specs[1].design != first.design
    assert render(later[0]).dtype == np.uint8


def test_mixed_dials_have_zones_of_two_processes() -> None:
    mixed = DialSet(count=10, seed=34, process="mixed", scope=SMALL)
    for picture in mixed.pictures():
        assert len(set(mixed.spec_of(picture).making.processes)) == 2


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"count": 0}, "count is 0; give a value from 1"),
        ({"seed": -1}, "seed is -1; give a value from 0"),
        ({"process": "stencil"}, "process is 'stencil'; give one of hand, transfer, photographic, mixed"),
        ({"twins": True, "process": "hand"}, "leave out one"),
        ({"scope": Range(jitter=5.0)}, "jitter is 5.0; give a value from 0.0 to 4.0"),
        ({"scope": Range(pixels_per_radius=(200.0, 100.0))}, "HI is 100.0 px; give a value from 200.0"),
        ({"scope": Range(max_side=20)}, "max-side is 20 px; give a value from 160"),
    ],
)
def test_bad_settings_are_named(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        DialSet(**{"count": 1, "seed": 1, **changes})
