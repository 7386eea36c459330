"""Adaptation: what photographs teach is learnt, what was known is kept, the best moment is never worse than none."""

import math
from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.model.net.likeness import LOOK
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.reading.patches import SIDE
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags.bags import Bag
from dialtell.train.photographs.adapt import AdaptConfig, adapt, balanced_loss, together
from dialtell.train.photographs.adapt_codes import CodeStore, coded, judge_coded
from dialtell.train.run.store import BagStore, HeldOut, whole_batch

CPU = torch.device("cpu")
SMALL = AdaptConfig(steps=60, every=10, photos=4, drawn=4, patches=12, rate=3e-3, patience=10, pairs=1, watched=8)


def bags(count, dark, seed, first=0, flip=False):
    """Dials whose painted strokes are of density 0.9 and printed ones of `dark`; flip: labelled the wrong way round."""
    rng = np.random.default_rng(seed)
    made = []
    for index in range(count):
        hand = index % 2
        level = 0.9 if hand else dark
        density = np.clip(rng.normal(110 * level, 6, (12, SIDE, SIDE)), 0, 255).astype(np.uint8)
        truth = 1 - hand if flip else hand
        made.append(
            Bag(density, np.repeat([0, 1], 6).astype(np.int8), 0.0, np.full(len(ZONES), truth, np.int8), truth,
                -1 if truth else 0, first + index)
        )  # fmt: skip
    return made


@pytest.fixture(scope="module")
def net():
    torch.manual_seed(4)
    made = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16))
    made.train()(torch.rand(4, 12, SIDE, SIDE), torch.zeros(4, 12, dtype=torch.long), torch.zeros(4))
    return made.eval()


def twins(count=4):
    """Drawn dials as the photographs are, so that both can be had at once."""
    made = bags(2 * count, 1.4, 9)
    return [[made[2 * n], replace(made[2 * n + 1], index=made[2 * n].index)] for n in range(count)]


def adapted(net, config=SMALL, watched=None, held=None):
    return adapt(
        net, bags(8, 1.4, 1, -100), held or bags(6, 1.4, 2, -200), twins(), watched or bags(8, 1.4, 3), config, CPU
    )


def test_it_learns_and_leaves_the_net_it_began_with(net):
    before = {key: value.clone() for key, value in net.state_dict().items()}
    new, looks = adapted(net)
    assert all(torch.equal(before[key], value) for key, value in net.state_dict().items())
    kept = [look for look in looks if look.kept]
    assert looks[0].step == 0 and kept[-1].photos < 0.5 * looks[0].photos
    assert balanced_loss(new, HeldOut(bags(6, 1.4, 2, -200), CPU)) == pytest.approx(kept[-1].photos, abs=1e-4)
    for key, value in new.state_dict().items():
        if "running" in key:
            assert torch.equal(value, before[key])  # a few photographs do not set the batch statistics


def test_the_same_seed_gives_the_same_net(net):
    short = replace(SMALL, steps=20)
    one, other = adapted(net, short)[0].state_dict(), adapted(net, short)[0].state_dict()
    assert all(torch.equal(one[key], other[key]) for key in one)
    assert any(not torch.equal(one[key], value) for key, value in net.state_dict().items())  # something was learnt
    another = adapted(net, replace(short, seed=2))[0].state_dict()
    assert any(not torch.equal(one[key], another[key]) for key in one)


def test_no_moment_that_forgets_too_much_is_kept(net):
    """The dials watched contradict the photographs: whatever is won on these is lost on those."""
    new, looks = adapted(net, replace(SMALL, forget=0.0), watched=bags(8, 1.4, 3, flip=True))
    assert min(look.photos for look in looks) < looks[0].photos
    assert all(look.drawn <= looks[0].drawn for look in looks if look.kept)
    assert balanced_loss(new, HeldOut(bags(8, 1.4, 3, flip=True), CPU)) <= looks[0].drawn + 1e-4


def test_without_a_better_moment_it_stops_with_the_net_as_it_was(net):
    """Held-out photographs that contradict those learnt from: nothing learnt helps them."""
    new, looks = adapted(net, replace(SMALL, patience=3), held=bags(6, 1.4, 2, -200, flip=True))
    assert len(looks) - 1 - max(n for n, look in enumerate(looks) if look.kept) == 3
    best = min((look for look in looks if look.kept), key=lambda look: look.photos)
    assert balanced_loss(new, HeldOut(bags(6, 1.4, 2, -200, flip=True), CPU)) == pytest.approx(best.photos, abs=1e-4)


def test_batches_together_keep_their_twins():
    store = BagStore(CPU, 1)
    store.add(twins())
    rng = np.random.default_rng(0)
    parts = [store.draw(4, 6, rng=rng) for _ in range(3)]
    whole = together(parts)
    assert len(whole.dial) == 12 and whole.patches.shape[:2] == (12, 6)
    assert whole.twin.tolist() == [1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10]


def test_both_sides_count_alike():
    """Nine painted dials to one printed: an undecided net's loss is ln 2, one sure of paint is charged for both."""

    class Sure(torch.nn.Module):
        def forward(self, patches, zone, resolution, scale=None):
            from dialtell.model.net.output import NetOutput

            n, z = len(zone), len(ZONES)
            present = torch.zeros((n, z), dtype=torch.bool)
            return NetOutput(torch.full((n,), 2.0), torch.zeros(n, z), torch.zeros(zone.shape), torch.zeros(n), present)

    made = bags(18, 1.4, 1)
    uneven = [bag for bag in made if bag.dial == 1] + made[:1]
    expected = 0.5 * (math.log1p(math.exp(-2)) + math.log1p(math.exp(2)))
    assert balanced_loss(Sure(), HeldOut(uneven, CPU)) == pytest.approx(expected, rel=1e-5)


def test_judging_layers_learn_while_the_encoder_stays(net):
    config = replace(SMALL, layers="judging", rate=1e-2)
    new, looks = adapted(net, config)
    before = net.state_dict()
    moved = {key for key, value in new.state_dict().items() if not torch.equal(value, before[key])}
    assert moved and not any(key.startswith("encoder") for key in moved)
    kept = [look for look in looks if look.kept]
    assert kept[-1].photos < 0.7 * looks[0].photos
    # what is seen of codes is what is seen of the pictures they came from
    assert balanced_loss(new, HeldOut(bags(6, 1.4, 2, -200), CPU)) == pytest.approx(kept[-1].photos, abs=1e-4)


def test_codes_are_drawn_with_their_own_zones_and_twins(net):
    store = CodeStore([coded(net, group, CPU) for group in twins()])
    codes, batch = store.draw(4, 20, rng=np.random.default_rng(0))  # more than the 12 there are
    assert codes.shape == (4, 20, 16 + LOOK**2) and batch.twin.tolist() == [1, 0, 3, 2]
    assert (batch.zone >= 0).sum(1).tolist() == [12] * 4 and not codes[:, 12:].any()
    whole = whole_batch(twins()[0], CPU)
    out = net(whole.patches, whole.zone, whole.resolution)
    told = torch.cat([output.dial for _, output in judge_coded(net, coded(net, twins()[0], CPU))])
    assert torch.allclose(out.dial, told, atol=1e-5)


@pytest.mark.parametrize(("name", "value"), [("photos", 3), ("drawn", 0), ("rate", 0.0), ("steps", 0), ("forget", -1),
                                             ("layers", "some")])  # fmt: skip
def test_values_out_of_range(name, value):
    with pytest.raises(ParameterError, match=f"{name} is .*; give"):
        AdaptConfig(**{name: value})
