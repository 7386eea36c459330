"""The bundled examples are what this renderer draws; after a change of the renderer they must be drawn anew."""

from importlib import resources

import numpy as np
import pytest
from PIL import Image
from trials.makers.example_dials import NAMES, example_pictures, example_spec, main

from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import outline_seen

FOLDER = resources.files("dialtell.evaluate") / "examples"


@pytest.fixture(scope="module")
def pictures():
    return example_pictures()


@pytest.mark.parametrize("name", [*NAMES, "too-small"])
def test_the_files_are_what_is_drawn(pictures, name):
    """python tests/trials makers/example_dials --out evaluate/examples"""
    with resources.as_file(FOLDER / f"{name}.jpg") as path:
        kept = np.asarray(Image.open(path).convert("RGB")).astype(float)
    assert kept.shape == pictures[name].shape
    assert np.abs(kept - pictures[name]).mean() < 3.0  # of 255: JPEG


def test_one_dial_under_three_processes_and_nothing_else():
    specs = [example_spec(process) for process in NAMES.values()]
    assert all(set(spec.making.processes) == {process} for spec, process in zip(specs, NAMES.values(), strict=True))
    assert all(spec.as_process(Process.HAND) == specs[0] for spec in specs)
    assert outline_seen(specs[0]) > 0.98 and specs[0].design.signature and specs[0].design.subdials
    camera = specs[0].camera
    assert camera.palette == "colour" and camera.sigma_px < 0.6 and not camera.defocus_px and not camera.motion_px
    assert not camera.screen_px and not camera.rescan_px and min(camera.jpeg_after, default=100) >= 80


def test_no_file_of_another_name_is_touched(tmp_path):
    (tmp_path / "own.jpg").write_bytes(b"mine")
    assert main(["--out", str(tmp_path)]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        [*(f"{n}.jpg" for n in (*NAMES, "too-small")), "own.jpg"]
    )
    assert (tmp_path / "own.jpg").read_bytes() == b"mine"
    assert main(["--out", str(tmp_path / "nowhere")]) == 1
