"""Bags in files: the same again, whole or not at all, and never those of another version."""

import numpy as np
import pytest

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.bags import kept_bags as module
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.kept_bags import kept_bags, load_bags, save_bags


def bag(count, seed):
    """Every second one with something planted, hence a truth for each patch."""
    rng = np.random.default_rng(seed)
    return Bag(
        rng.integers(0, 256, (count, 8, 8), dtype=np.uint8), rng.integers(0, 5, count).astype(np.int8), -0.3 * seed,
        np.array([1, 0, -1, 1, 0], np.int8), seed % 2, -1, 40 + seed,
        rng.integers(-1, 2, count).astype(np.int8) if seed % 2 else None,
        None if seed % 2 else rng.random(count) < 0.5, None if seed % 2 else rng.random(5) < 0.5,
    )  # fmt: skip


def assert_same(one, other):
    assert np.array_equal(one.density, other.density) and one.density.dtype == other.density.dtype
    assert np.array_equal(one.zone, other.zone) and np.array_equal(one.hand, other.hand)
    assert (one.strokes is None) == (other.strokes is None) and np.array_equal(one.own, other.own)
    assert np.array_equal(one.targets, other.targets) and np.array_equal(one.zone_targets, other.zone_targets)
    assert one.dial_target == other.dial_target
    assert np.array_equal(one.odd, other.odd)  # also on a dial of two kinds with nothing planted
    assert (one.resolution, one.dial, one.photographic, one.index) == (
        other.resolution, other.dial, other.photographic, other.index
    )  # fmt: skip


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_group_comes_back_as_it_was(tmp_path, count):
    group = [bag(30 + n, n) for n in range(count)]
    save_bags(tmp_path / "new" / "g.npz", group)
    again = load_bags(tmp_path / "new" / "g.npz")
    assert len(again) == count and [path.name for path in (tmp_path / "new").iterdir()] == ["g.npz"]
    for one, other in zip(group, again, strict=True):
        assert_same(one, other)


def test_made_once_and_anew_for_another_renderer(tmp_path, monkeypatch):
    made = []

    def make():
        made.append(1)
        return [bag(3, 1)]

    assert_same(kept_bags(tmp_path, "x", make)[0], kept_bags(tmp_path, "x", make)[0])
    assert len(made) == 1
    monkeypatch.setattr(module, "RENDERER_VERSION", "other")
    kept_bags(tmp_path, "x", make)
    assert len(made) == 2
    kept_bags(None, "x", make)
    assert len(made) == 3 and len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize("content", [b"", b"no archive", b"PK\x03\x04"])
def test_a_file_that_holds_no_bags_is_named(tmp_path, content):
    (tmp_path / "g.npz").write_bytes(content)
    with pytest.raises(ParameterError, match=r"g\.npz holds no bags .*; delete it"):
        load_bags(tmp_path / "g.npz")
