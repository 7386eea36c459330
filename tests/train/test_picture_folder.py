"""Pictures shared through a folder: drawn once, and the same for whoever trains on them."""

import threading

import numpy as np
import pytest
import torch
from safetensors.torch import load_file

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.bags.kept_bags import load_bags
from dialtell.train.bags.picture_folder import FolderSupply, KeepingSupply, picture_file
from dialtell.train.bags.supply import collect_singles, collect_twins
from dialtell.train.run.config import preset
from dialtell.train.run.loop import Trainer
from dialtell.train.study import study as command

CONFIG = preset("tiny", device="cpu")
SIZES = ("--preset", "tiny", "--device", "cpu")


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A run that kept what it drew: (its trainer, the folder)."""
    folder = tmp_path_factory.mktemp("kept")
    trainer = Trainer(CONFIG, folder / "run")
    trainer.start_folder()
    with KeepingSupply(folder / "pictures", 1) as supply:
        trainer.run(supply)
        whole = collect_singles(supply.order_singles(9, 8, CONFIG.scope))
    return trainer, folder / "pictures", whole


def test_the_same_pictures_come_back(drawn):
    _, folder, whole = drawn
    with FolderSupply(folder) as supply:
        found = collect_singles(supply.order_singles(9, 8, CONFIG.scope))
        groups = list(collect_twins(supply.order_twins(CONFIG.seed, 0, CONFIG.pairs, CONFIG.scope)))
    assert [bag.index for bag in found] == [bag.index for bag in whole] and len(found) >= 6
    for one, other in zip(found, whole, strict=True):
        assert np.array_equal(one.density, other.density) and np.array_equal(one.own, other.own)
        assert (one.dial, one.resolution, one.photographic) == (other.dial, other.resolution, other.photographic)
    assert len(groups) == CONFIG.pairs
    assert [bag.index for group in groups for bag in group] == sorted(bag.index for group in groups for bag in group)


def test_a_net_trained_on_them_is_the_net_that_drew_them(drawn, tmp_path):
    trainer, folder, _ = drawn
    other = Trainer(CONFIG, tmp_path / "other")
    other.start_folder()
    with FolderSupply(folder) as supply:
        other.run(supply)
    one, two = (load_file(run.folder / "last.safetensors") for run in (trainer, other))
    assert one.keys() == two.keys() and all(torch.equal(one[key], two[key]) for key in one)


def test_who_comes_first_waits(drawn, tmp_path):
    _, folder, whole = drawn
    there = picture_file(folder, "singles", 9, 0, 8, CONFIG.scope)
    with FolderSupply(tmp_path) as supply:
        orders = supply.order_singles(9, 8, CONFIG.scope)
        assert not any(order.done() for order in orders)
        timer = threading.Timer(0.5, lambda: (tmp_path / there.name).write_bytes(there.read_bytes()))
        timer.start()
        assert len(collect_singles(orders)) == len(whole)
        timer.join()


def test_pictures_that_never_come_are_named(tmp_path):
    with FolderSupply(tmp_path, patience=0.0) as supply, pytest.raises(ParameterError, match="dialtell train --keep"):
        collect_singles(supply.order_singles(9, 8, CONFIG.scope))


def test_a_run_that_ends_early_leaves_whole_files_only(tmp_path):
    with KeepingSupply(tmp_path, 1) as supply:
        supply.order_twins(1, 0, 40, CONFIG.scope)
    assert not list(tmp_path.iterdir())


def test_the_name_tells_scopes_apart(tmp_path):
    wide = preset("desk").scope
    assert picture_file(tmp_path, "twins", 1, 0, 3, CONFIG.scope) != picture_file(tmp_path, "twins", 1, 0, 3, wide)


def test_the_commands_share_them(drawn, tmp_path, capsys):
    """`train --keep` as it is said in the help, then a member of a study on the same pictures."""
    from dialtell.evaluate.cli.main import main

    kept = tmp_path / "kept"
    assert main(["train", *SIZES, "--keep", str(kept), "--out", str(tmp_path / "run"), "--workers", "1"]) == 0
    files = sorted(kept.iterdir())
    assert len(files) == CONFIG.epochs + 4 and all(load_bags(file) for file in files)
    asked = [*SIZES, "--members", "strokes-1", "--pictures", str(kept), "--out", str(tmp_path / "study")]
    assert command.main(asked) == 0
    one = load_file(tmp_path / "run" / "strokes.safetensors")
    two = load_file(tmp_path / "study" / "strokes-1" / "strokes.safetensors")
    assert all(torch.equal(one[key], two[key]) for key in one)
    capsys.readouterr()
