"""The reader's net: the shapes it promises, its size; turning a dial only shifts what it says of 12 o'clock."""

import numpy as np
import pytest
import torch

from dialtell.model.reader.file import SHIPPED, load_reader
from dialtell.model.reader.net import PADDING, SIDE, TURNS, ReaderConfig, ReaderNet, TurnPart
from dialtell.synth.settings import compose, setting
from dialtell.synth.shared.terms import MAKES, SEEN


@pytest.fixture(scope="module")
def small():
    torch.manual_seed(0)
    return ReaderNet(ReaderConfig((4, 4, 4, 4, 4), 4)).eval()


def test_shapes(small):
    with torch.inference_mode():
        sight = small(torch.zeros(2, 3, SIDE, SIDE), True)
        first = small(torch.zeros(1, 3, SIDE, SIDE))
    assert sight.seen.shape == (2, len(SEEN), SIDE, SIDE)
    assert sight.inside.shape == (2, SIDE // 2, SIDE // 2) and sight.where.shape == (2, 2, SIDE // 2, SIDE // 2)
    assert sight.make.shape == (2, len(MAKES)) and sight.turn.shape == (2, TURNS) and first.turn is None


def test_the_size_shipped():
    shipped = load_reader(SHIPPED).record["architecture"]
    config = ReaderConfig(tuple(shipped["widths"]), shipped["turn"])
    assert 0 < sum(parameter.numel() for parameter in ReaderNet(config).parameters()) <= 1_500_000
    assert SHIPPED.stat().st_size <= 6_000_000


def test_pictures_are_drawn_as_they_are_looked_at():
    """Training draws what reading shows the net: one size, one radius, one grey outside the photograph."""
    assert (setting.SIDE, compose.PADDING) == (SIDE, PADDING)
    from dialtell.model.reader.net import SQUARE

    assert setting.SQUARE == SQUARE


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turning_the_features_shifts_the_directions(quarters):
    torch.manual_seed(1)
    part = TurnPart(5, 8).eval()
    features = torch.randn(1, 5, SIDE // 2, SIDE // 2)
    with torch.inference_mode():
        upright, turned = part(features), part(torch.rot90(features, -quarters, (2, 3)))  # clockwise
    assert upright.std() > 1e-3
    assert torch.allclose(turned, torch.roll(upright, quarters * TURNS // 4, 1), atol=1e-4)


def test_the_turn_is_read_clockwise_from_up():
    """A mark at three o'clock of the features moves the logits there, and those across the dial not more."""
    torch.manual_seed(2)
    part = TurnPart(1, 4).eval()
    part.far = torch.nn.ModuleList()  # what looks all round would blur the place
    bare, marked = torch.zeros(1, 1, SIDE // 2, SIDE // 2), torch.zeros(1, 1, SIDE // 2, SIDE // 2)
    marked[0, 0, SIDE // 4 - 3 : SIDE // 4 + 3, SIDE // 4 + 50 : SIDE // 4 + 70] = 50.0
    with torch.inference_mode():
        change = (part(marked) - part(bare)).abs()[0].numpy()
    assert abs(int(change.argmax()) - TURNS // 4) <= 12 and change[TURNS // 2 :].max() < 1e-6 * np.max(change)
