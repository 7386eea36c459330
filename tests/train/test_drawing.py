"""Pictures drawn by several machines into one folder: each once, the same, and what a training then asks for."""

import subprocess
import sys

import numpy as np
import pytest
import torch
from safetensors.torch import load_file

from dialtell.train.bags import supply
from dialtell.train.bags.kept_bags import load_bags
from dialtell.train.bags.picture_folder import KeepingSupply, picture_file
from dialtell.train.run import drawing
from dialtell.train.run.config import preset
from dialtell.train.run.curriculum import Curriculum
from dialtell.train.run.drawing import draw_pictures, main, orders_of
from dialtell.train.run.finish import order_held_out
from dialtell.train.run.loop import Trainer

SMALL = {"epochs": 2, "pairs": 2, "calibration": 8}
CONFIG = preset("tiny", device="cpu", **SMALL)
WORDS = [
    "--preset",
    "tiny",
    "--workers",
    "1",
    *(word for name, value in SMALL.items() for word in (f"--{name}", str(value))),
]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A folder that two machines drew into at once, and what they said."""
    folder = tmp_path_factory.mktemp("drawn") / "shared"
    command = [sys.executable, "-m", "dialtell.train.run.drawing", *WORDS, "--out", str(folder)]
    machines = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    said = [machine.communicate()[1] for machine in machines]
    assert [machine.returncode for machine in machines] == [0, 0]
    return folder, said


def content(path):
    with np.load(path, allow_pickle=False) as kept:
        return {name: kept[name] for name in kept.files}


def test_two_machines_leave_one_whole_file_an_order(drawn):
    folder, said = drawn
    wanted = {picture_file(folder, *order).name for order in orders_of(CONFIG)}
    assert len(wanted) == CONFIG.epochs + 4
    assert {path.name for path in folder.iterdir()} == wanted and all(load_bags(path) for path in folder.iterdir())
    shares = [text.count("drew ") for text in said]
    assert min(shares) >= 1 and sum(shares) >= len(wanted)


def test_a_training_asks_for_these_and_draws_none(drawn, tmp_path, monkeypatch):
    """The pictures, and the net in the end, are those of a training that draws for itself."""
    folder, _ = drawn
    nets = []
    for pictures in (tmp_path / "own", folder):
        if pictures == folder:
            monkeypatch.setattr(supply.Supply, "order_twins", None)
            monkeypatch.setattr(supply.Supply, "_start_singles", None)
        trainer = Trainer(CONFIG, tmp_path / f"run-{pictures.name}")
        trainer.start_folder()
        with KeepingSupply(pictures, 1) as kept:
            trainer.run(Curriculum(kept, CONFIG), then=lambda kept=kept: order_held_out(kept, CONFIG))
            if pictures != folder:
                for seed, count, scope in [
                    order[1:2] + order[3:] for order in orders_of(CONFIG) if order.kind == "singles"
                ]:
                    supply.collect_singles(kept.order_singles(seed, count, scope))
        nets.append(load_file(trainer.folder / "last.safetensors"))
    names = {path.name for path in folder.iterdir()}
    assert {path.name for path in (tmp_path / "own").iterdir()} == names
    for name in names:
        one, other = content(folder / name), content(tmp_path / "own" / name)
        assert one.keys() == other.keys() and all(np.array_equal(one[key], other[key]) for key in one)
    assert all(torch.equal(nets[0][key], nets[1][key]) for key in nets[0])


def test_drawing_goes_on_where_it_ended_and_does_what_a_dead_machine_left(drawn, tmp_path, monkeypatch):
    folder, _ = drawn
    paths = [picture_file(tmp_path, *order) for order in orders_of(CONFIG)]
    for path in paths[:-1]:
        path.write_bytes((folder / path.name).read_bytes())
    before = {path: path.stat().st_mtime_ns for path in paths[:-1]}
    paths[-1].with_suffix(".begun").write_text("elsewhere 1\n")
    assert list(draw_pictures(CONFIG, tmp_path, 1)) == paths[-1:]
    assert {path: path.stat().st_mtime_ns for path in paths[:-1]} == before
    assert sorted(tmp_path.iterdir()) == sorted(paths)
    monkeypatch.setattr(drawing, "Supply", None)  # all is there: not even a process is begun
    assert list(draw_pictures(CONFIG, tmp_path, 1)) == []


def test_a_drawing_that_fails_leaves_no_mark(tmp_path, monkeypatch):
    def fail(*words, **named):
        raise OSError("gone")

    monkeypatch.setattr(drawing, "save_bags", fail)
    monkeypatch.setattr(drawing, "collect_singles", lambda orders: [])
    with pytest.raises(OSError, match="gone"):
        list(draw_pictures(CONFIG, tmp_path, 1))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_said(tmp_path, capsys):
    (tmp_path / "file").write_bytes(b"")
    assert main([*WORDS, "--out", str(tmp_path / "file" / "x")]) == 1
    assert "drawing: error" in capsys.readouterr().err
