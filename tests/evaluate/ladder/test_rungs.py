"""The rungs: the same dials everywhere and for ever, each differing from training in what it says and nothing else."""

from dataclasses import fields, replace

import numpy as np
import pytest

from dialtell.evaluate.ladder import rungs
from dialtell.evaluate.ladder.rungs import BY_LETTER, D_PX_PER_MM, LIKE_TRAINING, RUNGS, frozen, rung_hash, rungs_named
from dialtell.synth.camera.camera import sample_camera
from dialtell.synth.design.design import Variety
from dialtell.synth.letterforms.families import FAMILIES, GROUPS, font_names
from dialtell.synth.letterforms.font import CHARACTERS
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.supply import BEYOND_SEED, CALIBRATION_SEED, FIGURES_SEED, VALIDATION_SEED
from dialtell.train.run.config import LARGEST_SEED, TrainConfig
from dialtell.train.run.holdout import CALIBRATION_HELD, HELD_OUT, TRAINING

MANY = range(40)


@pytest.mark.parametrize("rung", RUNGS, ids=lambda rung: rung.letter)
def test_dials_are_as_frozen(rung):
    """After a change of the renderer that is meant: python -m dialtell.evaluate.ladder.rungs --freeze."""
    assert rung_hash(rung) == frozen()[rung.letter]
    assert rung.spec(3) == rung.spec(3) != rung.spec(4)


@pytest.mark.parametrize(("by", "told"), [(1e-7, True), (1e-15, False)])
def test_hash_covers_every_value_to_nine_digits(by, told):
    """What processors round differently is no change of the dials."""
    rung = BY_LETTER["A"]

    def shifted(seed, index):
        spec = rungs._same(seed, index)
        view = replace(spec.view, roll_deg=spec.view.roll_deg * (1 + by))
        assert view != spec.view
        return replace(spec, view=view) if index == 2 else spec

    assert (rung_hash(replace(rung, draw=shifted), 3) != rung_hash(rung, 3)) == told
    assert rung_hash(replace(rung, draw=shifted), 2) == rung_hash(rung, 2)


def test_nothing_is_called_frozen_for_another_renderer(monkeypatch):
    monkeypatch.setattr(rungs, "RENDERER_VERSION", "999")
    assert frozen() == {}


def test_no_set_of_training_is_a_rung():
    seeds = [rung.seed for rung in RUNGS]
    assert len(set(seeds)) == len(seeds)
    assert min(seeds) > max(LARGEST_SEED, VALIDATION_SEED, CALIBRATION_SEED, BEYOND_SEED, FIGURES_SEED)


def test_a_draws_from_what_training_does():
    assert replace(TrainConfig().scope, mixed=0.0, near=0.0) == LIKE_TRAINING


def test_what_is_held_out_and_what_is_left_make_the_whole():
    lists = [field for field in fields(Variety) if isinstance(getattr(Variety(), field.name), tuple)]
    for field in lists:
        parts = [list(getattr(variety, field.name)) for variety in (TRAINING, HELD_OUT, CALIBRATION_HELD)]
        assert parts[0] and parts[1]
        assert sorted(name for part in parts for name in part) == sorted(
            getattr(Variety(), field.name)
        )  # no name in two of them
    groups = [{FAMILIES[name].group for name in held.families} for held in (HELD_OUT, CALIBRATION_HELD)]
    assert groups[0] == groups[1] == set(GROUPS)


def names_of(design):
    """Every letterform and mark of the main track that a design uses."""
    tracks = [design.track, *(sub.track for sub in design.subdials)]
    forms = {track.figures_letterform for track in tracks if track.figures_every}
    forms |= {line.letterform for line in design.signature}
    forms |= {design.chapter.letterform} if design.chapter else set()
    return forms, design.track.mark


def test_b_shows_only_what_training_never_did():
    held = {*HELD_OUT.roman, *HELD_OUT.arabic, *HELD_OUT.lettering}
    held |= {name for role in CHARACTERS for name in font_names(role, HELD_OUT.families)}
    ours, seen = [BY_LETTER["B"].spec(index) for index in MANY], [BY_LETTER["A"].spec(index) for index in MANY]
    for spec in ours:
        forms, mark = names_of(spec.design)
        assert forms <= held and mark in HELD_OUT.marks
    for spec in seen:
        forms, mark = names_of(spec.design)
        assert not forms & held and mark in TRAINING.marks
    cameras = [sample_camera(rng=np.random.default_rng([1, index])) for index in range(400)]
    assert max(spec.camera.jpeg_after[0] for spec in ours) < min(q for c in cameras for q in c.jpeg_after)
    wobble = [spec.making.workshop.figures.wobble for spec in ours]
    usual = [spec.making.workshop.figures.wobble for spec in seen]
    assert min(wobble) < min(usual) and max(wobble) > max(usual)


def test_c_changes_the_process_alone():
    rung = BY_LETTER["C"]
    for pair in range(6):
        one, other = rung.spec(2 * pair), rung.spec(2 * pair + 1)
        assert rung.cluster(2 * pair) == rung.cluster(2 * pair + 1) == pair
        assert set(one.making.processes) == {Process.HAND}
        assert other.making.processes[0].printed and len(set(other.making.processes)) == 1
        assert other.as_process(Process.HAND) == one


def test_d_is_log_uniform_in_px_per_mm():
    scale = np.array([BY_LETTER["D"].spec(index).view.px_per_mm for index in range(300)])
    low, high = D_PX_PER_MM
    assert low <= scale.min() and scale.max() <= high
    shares = np.histogram(np.log(scale), np.linspace(np.log(low), np.log(high), 5))[0] / 300
    assert np.abs(shares - 0.25).max() < 0.09  # 3.6 SD of a quarter of 300


def test_e_gives_the_plate_the_painters_hand():
    for index in range(6):
        making = BY_LETTER["E"].spec(index).making
        assert making.plate.engraver == making.workshop.figures
        assert making.plate.scatter == 1.0 and not making.plate.punched


def test_f_mixes_and_g_stands_close():
    assert all(len(set(BY_LETTER["F"].spec(index).making.processes)) == 2 for index in MANY)
    views = [BY_LETTER["G"].spec(index).view for index in MANY]
    assert all(view.field == "part" for view in views if view.px_per_mm * view.dial_radius_mm > 200)


@pytest.mark.parametrize("letter", "ABCDEG")
def test_half_is_painted(letter):
    painted = [BY_LETTER[letter].spec(index).making.processes[0] is Process.HAND for index in range(8)]
    assert painted == [True, False] * 4


def test_records_are_canonical_json():
    """Only plain values: a NaN or an array would make a hash that depends on the machine."""
    assert isinstance(to_record(BY_LETTER["B"].spec(0)), dict)


def test_names():
    assert [rung.letter for rung in rungs_named("CA")] == ["A", "C"]
    assert rungs_named(None) == RUNGS
    with pytest.raises(ParameterError, match="rungs hold 'X'; give some of the letters ABCDEFG"):
        rungs_named("AX")
    with pytest.raises(ParameterError, match="index is -1; give"):
        BY_LETTER["A"].spec(-1)
