"""What a dial's strokes look like taken together, and how far from drawn ones they may look."""

import json
from dataclasses import replace

import numpy as np
import pytest
import torch
from verdicts_made import patches

from dialtell.evaluate.score.reasons import UNLIKE, dial_reason, dial_support, zone_reason
from dialtell.model.net.familiar import COUNTED, FEW, NUMBERS, TRAITS, Familiar, familiar_from, traits_of
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.traits import plain_numbers
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import load_weights, save_weights
from dialtell.model.reading.patches import HIGH, LOW, SIDE
from dialtell.synth.shared.errors import WeightsError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags.bags import MOST_PER_ZONE, Bag, pack
from dialtell.train.run.gate import drawn_traits
from dialtell.train.run.store import unpack

FINE = Resolution(1000, 900, 640)


def bag(*counts, seed=0):
    """(N, S, S) strokes across each patch, wider and wider, and their zones."""
    rng = np.random.default_rng(seed)
    zone = np.repeat(np.arange(len(counts)), counts)
    columns = np.arange(SIDE)
    rows = [np.clip(rng.uniform(3, 14) - np.abs(columns - rng.uniform(20, 44)), 0, 1) for _ in zone]
    density = np.stack([np.tile(row, (SIDE, 1)) for row in rows]).astype(np.float32)
    return torch.from_numpy(density), zone


def around(middle, limit=3.0):
    """`limit` up to a resolution of -1, twice that above."""
    return Familiar(np.asarray(middle, dtype=float), np.eye(TRAITS), ((-1.0, limit), (9.0, 2 * limit)))


def traits(density, zone, resolution=-2.0):
    return traits_of(plain_numbers(density).numpy(), zone, resolution)


def test_they_are_of_one_dial_whose_photographs_may_differ():
    density, zone = bag(9, 12)
    own = traits(density, zone)
    assert own.shape == (TRAITS + 2,) and own[-2:].tolist() == pytest.approx([21, -2])
    each = np.linspace(-3, 1, 21)
    told = traits(density, zone, each)
    assert told[:-1] == pytest.approx(own[:-1]) and told[-1] == pytest.approx(each.mean())
    assert np.isfinite(traits(density[:0], zone[:0])).all()


def test_of_drawn_bags_places_without_a_patch_and_patches_of_other_scales_do_not_count():
    density, zone = bag(9, 12)
    packed = pack(density.numpy())
    plain = Bag(packed, zone.astype(np.int8), -2.0, np.zeros(len(ZONES), np.int8), 1, -1, 0)
    more = np.concatenate([packed, np.full((5, SIDE, SIDE), 200, np.uint8)])
    scale = np.repeat([0.0, 1.0], [21, 5]).astype(np.float32)
    fine = replace(plain, density=more, zone=np.append(plain.zone, [1] * 5).astype(np.int8), scale=scale)
    one, other = drawn_traits([plain, fine], torch.device("cpu"))  # the first is padded
    assert one == pytest.approx(traits(unpack(torch.from_numpy(packed)), zone), abs=1e-5)
    assert other == pytest.approx(one, abs=1e-5)
    assert drawn_traits([], torch.device("cpu")).shape == (0, TRAITS + 2)


def test_a_zone_counts_for_no_more_patches_than_in_training():
    """As many copies of a zone's patches as one likes change nothing once it has its most."""
    assert COUNTED <= MOST_PER_ZONE
    density, zone = bag(COUNTED, 20)
    many = torch.cat([density[:COUNTED]] * 4 + [density[COUNTED:]])
    zones = np.concatenate([zone[:COUNTED]] * 4 + [zone[COUNTED:]])
    assert traits(many, zones)[:TRAITS] == pytest.approx(traits(density, zone)[:TRAITS], abs=1e-4)
    few = traits(torch.cat([density[:20]] * 4 + [density[COUNTED:]]), np.repeat([0, 1], [80, 20]))
    assert few[:TRAITS] != pytest.approx(traits(density, zone)[:TRAITS], abs=1e-2)


def test_plain_numbers_are_those_of_the_picture():
    """Of a flat patch, a ramp and a chequered one, worked out by hand."""
    rows, columns = np.indices((SIDE, SIDE))
    pictures = np.stack([np.full((SIDE, SIDE), 0.5), 0.01 * columns, ((rows + columns) % 2) * 1.0]).astype(np.float32)
    flat, ramp, board = plain_numbers(torch.from_numpy(pictures)).numpy()
    assert len(flat) == NUMBERS
    assert flat[1] == pytest.approx(0, abs=1e-3) and flat[2] == flat[3] == 1.0
    assert ramp[3] > 0.9 and ramp[1] > 0.05  # straight however steep
    assert board[2] == board[3] == 0.0 and board[4] > ramp[4] > flat[4]
    # a chequered patch at half the size is flat
    assert board[9:] == pytest.approx(flat[9:], abs=1e-4)


def test_a_photograph_is_read_as_the_bags_of_training_are_kept():
    """Those have 8 bits: noise finer than that must not tell the two apart."""
    density, zone = bag(9, 12)
    density += 0.002 * torch.randn(density.shape, generator=torch.Generator().manual_seed(0))
    kept = unpack(torch.from_numpy(pack(density.clamp(LOW, HIGH).numpy())))
    assert not torch.equal(kept, density)
    assert traits(kept, zone) == pytest.approx(traits(density, zone), abs=1e-5)


def test_few_patches_may_lie_farther_off():
    given = np.full((2, TRAITS + 2), 2.0)
    given[:, TRAITS] = 10_000, FEW / 3
    near, far = around(np.zeros(TRAITS)).distance(given)
    assert near == pytest.approx(2.0, rel=0.01) and far == pytest.approx(1.0)


def test_each_resolution_has_its_own_limit():
    given = np.full((4, TRAITS + 2), 4.0)
    given[:, TRAITS], given[:, -1] = 10_000, (-3.0, -1.0, -0.9, 12.0)
    assert around(np.zeros(TRAITS)).knows(given).tolist() == [False, False, True, True]


def test_through_its_record():
    rng = np.random.default_rng(0)
    one = Familiar(rng.standard_normal(TRAITS), rng.standard_normal((TRAITS, TRAITS)), ((0.0, 2.5), (9.0, 3.5)))
    again = familiar_from(json.loads(json.dumps(one.record())))
    given = np.abs(rng.standard_normal((6, TRAITS + 2)))
    assert again.limits == one.limits and again.distance(given) == pytest.approx(one.distance(given), rel=1e-5)


@pytest.fixture
def known(make_weights, tmp_path):
    """known(familiar record): weights that carry it, called painted by their offset."""
    weights = load_weights(make_weights(9.0, 9.0))

    def save(record):
        path = tmp_path / "known.safetensors"
        save_weights(path, weights.net, {**weights.record, "familiar": record})
        return path

    return save


def test_a_dial_like_none_drawn_gets_no_call_and_is_told_why(known, make_weights):
    dial = patches(0, 20, 20)
    own = traits(torch.from_numpy(dial.density), dial.zone)[:TRAITS]
    familiar = load_weights(known(around(own).record()))
    plain = load_weights(make_weights(9.0, 9.0))
    one, other = (replace(judge(dial, weights), explanation=None) for weights in (familiar, plain))
    assert one == other
    assert judge(dial, familiar).call == "hand-painted" and not judge(dial, familiar).unlike
    strange = judge(dial, load_weights(known(around(own + 12.0).record())))
    assert strange.unlike and strange.withheld and strange.call == "undetermined" and strange.probability_hand is None
    assert strange.whole.log10_lr == judge(dial, familiar).whole.log10_lr
    assert {evidence.call for evidence in strange.zones.values()} == {"undetermined"}
    assert dial_reason(strange, FINE) == UNLIKE and "nothing the program was taught on" in UNLIKE
    assert dial_support(strange).startswith("withheld")
    # what was said before stands before it
    assert dial_reason(strange, Resolution(500, 236, 640)).startswith("No call is made: the photograph resolves")
    assert "halftone" in dial_reason(strange, replace(FINE, screened=True))
    assert dial_reason(strange, FINE, "the edge was not made out") == "No call is made: the edge was not made out."
    assert zone_reason(ZONES[1], strange.zones[ZONES[1]], None).endswith("the photograph does not carry a call.")


def test_weights_that_never_noted_it_know_every_dial(make_weights):
    weights = load_weights(make_weights(9.0, 9.0))
    assert weights.familiar is None and judge(patches(0, 20, 20), weights).call == "hand-painted"


SOUND = around(np.zeros(TRAITS)).record()


@pytest.mark.parametrize(
    "record",
    [[], {}, {**SOUND, "limits": [[0, 0.0]]}, {**SOUND, "limits": [[0, 1e400]]}, {**SOUND, "limits": 3},
     {**SOUND, "limits": []}, {**SOUND, "limits": [[float("nan"), 1.0]]},
     {**SOUND, "limits": [[0, "far"]]}, {**SOUND, "limits": [[0, 1], [-1, 1]]},
     {**SOUND, "middle": SOUND["whiten"]}, {**SOUND, "middle": "AAA="}, {**SOUND, "whiten": "!"},
     {**SOUND, "whiten": SOUND["whiten"][: 4 * 28]}, {**SOUND, "middle": "AADAfw==" * TRAITS},
     {**SOUND, "middle": "AADAfwAAwH8AAMB/" * (TRAITS // 3) + "AADAfw=="}],
)  # fmt: skip
def test_what_is_no_record_of_it_is_refused(known, record):
    with pytest.raises(WeightsError, match=r"does not say what drawn dials look like .*; copy it again or train again"):
        load_weights(known(record))
