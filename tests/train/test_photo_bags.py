"""Labelled photographs as bags: labels end where they belong, dials are never parted, and what is left out is named."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from verdicts_made import patches

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES, Zone
from dialtell.train.bags.bags import MOST_PER_ZONE
from dialtell.train.photographs import photo_bags as photographs
from dialtell.train.photographs.labels import LabelledPhoto
from dialtell.train.photographs.photo_bags import (
    LEAST_DIALS,
    PhotoBag,
    PhotoSplit,
    count_dials,
    dial_key,
    photo_bag,
    read_bags,
    split_by_dial,
)


def photo(row, label="painted", **said):
    name = said.pop("name", f"{row}.png")
    return LabelledPhoto(row=row, name=name, path=Path(name), sha256=f"{row:064x}", dial_process=label, **said)


def item(row, label="painted", **said):
    labelled = photo(row, label, **said)
    return PhotoBag(labelled, dial_key(labelled), SimpleNamespace())


def hand(labelled, *counts):
    return photo_bag(labelled, SimpleNamespace(patches=patches(*counts)), index=-1)


def test_a_zone_has_its_own_label_else_its_dials():
    zones = {Zone.SIGNATURE: "painted", Zone.NUMERALS: "cannot tell"}
    assert hand(photo(2, "painted"), 4, 4).hand.tolist() == [1] * len(ZONES)
    mixed = hand(photo(2, "mixed", zones=zones), 4, 4)
    assert mixed.hand.tolist() == [1, -1, -1, -1, -1] and mixed.dial == -1
    printed = hand(photo(2, "printed", zones={Zone.NUMERALS: "cannot tell"}), 4, 4)
    assert printed.hand.tolist() == [0, -1, 0, 0, 0] and printed.dial == 0


@pytest.mark.parametrize(("said", "truth"), [("", -1), ("cannot tell", -1), ("transfer", 0), ("photographic", 1)])
def test_process_of_print(said, truth):
    assert hand(photo(2, "printed", print_process=said), 4, 4).photographic == truth


def test_patches_keep_their_zones_and_are_capped_a_zone():
    bag = hand(photo(2), 3, MOST_PER_ZONE + 20)
    assert np.bincount(bag.zone).tolist() == [3, MOST_PER_ZONE] and len(bag.density) == len(bag.zone)


def dials(count, label, first=2, photos=2):
    return [item(first + n, label, dial=f"{label} {n // photos}") for n in range(count * photos)]


@pytest.mark.parametrize("seed", range(6))
def test_dials_are_held_out_whole_and_of_both_kinds(seed):
    bags = dials(10, "painted") + dials(7, "printed", 100) + dials(3, "mixed", 200)
    split = split_by_dial(bags, seed=seed)
    assert len(split.learnt) + len(split.held_out) == len(bags)
    assert not {one.dial for one in split.learnt} & {one.dial for one in split.held_out}
    held = count_dials(split.held_out)
    assert held == {"photographs": 12, "painted": 3, "printed": 2, "other": 1}  # 30 % of 10, 7 and 3 dials
    assert {one.dial for one in split_by_dial(bags, seed=seed).held_out} == {one.dial for one in split.held_out}


def test_the_draw_of_held_out_dials_depends_on_the_seed():
    bags = dials(20, "painted") + dials(20, "printed", 100)
    assert len({frozenset(one.dial for one in split_by_dial(bags, seed=seed).held_out) for seed in range(5)}) == 5


def test_photographs_without_a_dials_name_are_dials_of_their_own():
    bags = [item(row, "painted" if row % 2 else "printed") for row in range(2, 2 + 2 * LEAST_DIALS)]
    assert count_dials(bags) == {"photographs": 10, "painted": 5, "printed": 5, "other": 0}
    split = split_by_dial(bags)
    assert len(split.held_out) == 4
    same = item(2, dial="7", source="a"), item(3, dial="7", source="b")
    assert same[0].dial != same[1].dial


def test_too_few_dials_are_refused_with_what_was_left_out():
    bags = dials(9, "painted", photos=1) + dials(4, "printed", 50, photos=3)
    with pytest.raises(ParameterError, match=r"(?s)4 printed dials could be read; label at least 5 .*row 9: blank"):
        split_by_dial(bags, unread=["row 9: blank"])


def test_a_dial_or_photograph_on_both_sides_is_refused():
    one, other = item(2, dial="a"), item(3, dial="a")
    with pytest.raises(ParameterError, match="row 2 is learnt from and row 3 held out, but they are the same dial"):
        PhotoSplit((one,), (other,))
    same = replace(other, dial="b", photo=replace(other.photo, sha256=one.photo.sha256))
    with pytest.raises(ParameterError, match="the same photograph; keep both on one side"):
        PhotoSplit((one,), (same,))


def test_what_cannot_be_learnt_from_is_named_by_row(tmp_path, monkeypatch):
    (tmp_path / "text.png").write_text("no picture")
    rows = [
        photo(2, "cannot tell"),
        replace(photo(3), path=tmp_path / "text.png"),
        photo(4, name="few.png"),
        photo(5, "cannot tell", zones={Zone.NUMERALS: "printed"}, name="good.png"),
    ]
    real, given = photographs._read, object()

    def read(labelled, reader):
        assert reader is given
        counts = {"few.png": (2, 2), "good.png": (9, 9)}
        if labelled.name not in counts:
            return real(labelled, reader)
        return SimpleNamespace(patches=patches(*counts[labelled.name]))

    monkeypatch.setattr(photographs, "_read", read)
    bags, unread = read_bags(rows, reader=given)
    assert [one.photo.row for one in bags] == [5] and bags[0].bag.hand.tolist() == [-1, 0, -1, -1, -1]
    assert [line.split(":")[0].split(" (")[0] for line in unread] == ["row 2", "row 3", "row 4"]
    assert "settle nothing" in unread[0] and "text.png" in unread[1] and "4 patches" in unread[2]
