"""The centre of a dial whose edge hardly shows is found from its being alike turned half round."""

import numpy as np
import pytest
from drawn_dial import cut, draw, outline_error, scene

from dialtell.model.reading.discs import tone_of
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.outline import find_dial
from dialtell.model.reading.symmetry import symmetric_discs


@pytest.mark.parametrize("tilt", [0, 30])
@pytest.mark.parametrize("ground", [0.1, 0.62])
def test_centre_and_shape_of_a_ring(tilt: float, ground: float) -> None:
    drawn = scene(380, tilt=tilt, angle=30, ground=ground, enamel=0.65, texture=0.2, hands=True)
    tone, scale = tone_of(draw(drawn, np.random.default_rng(1)), 480)
    discs = symmetric_discs(tone)
    away = [np.hypot(*(np.array(disc.center) / scale - drawn.dial.center_px)) for disc in discs]
    assert min(away) < 0.03 * drawn.dial.pixels_per_radius
    # rings, divisions and edge have the dial's own roundness; shapes are tried 0.07 apart
    nearest = discs[int(np.argmin(away))]
    assert nearest.axes[1] / nearest.axes[0] == pytest.approx(np.cos(np.radians(tilt)), abs=0.075)


def test_dial_cut_off_has_the_same_centre() -> None:
    drawn = cut(scene(380), 0.75)
    tone, scale = tone_of(draw(drawn, np.random.default_rng(1)), 480)
    away = [np.hypot(*(np.array(d.center) / scale - drawn.dial.center_px)) for d in symmetric_discs(tone)]
    assert min(away) < 0.05 * drawn.dial.pixels_per_radius


def test_edge_in_parts_on_ground_as_light_as_the_enamel() -> None:
    # ground of the enamel's light on average, its texture now lighter, now darker
    right = 0
    for number in range(4):
        drawn = scene(400, ground=0.62, enamel=0.66, texture=0.35, blur=0.7)
        found = find_dial(draw(drawn, np.random.default_rng(number)))
        if isinstance(found, DialGeometry):
            assert outline_error(found, drawn.dial) < 0.02
            right += 1
    assert right >= 1
