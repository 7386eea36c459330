import numpy as np
import pytest

from dialtell.synth.design.design import Variety
from dialtell.synth.design.marks import MARKS, disc


def test_designs_draw_from_all_of_them():
    assert Variety().marks == ("tick", *MARKS)


@pytest.mark.parametrize("name", MARKS)
@pytest.mark.parametrize(("depth", "heavy"), [(1.0, 0.45), (0.3, 0.45), (2.0, 0.1)])
def test_a_mark_stands_in_the_middle_of_the_track_and_keeps_within_it(name, depth, heavy):
    path, width, _ = MARKS[name](depth, heavy)
    assert len(path) == len(width) >= 2 and (width >= 0).all() and width.max() > 0
    np.testing.assert_allclose(path[:, 0], 0)
    np.testing.assert_allclose(path[:, 1], -path[::-1, 1], atol=1e-12)
    assert np.ptp(path[:, 1]) <= depth + 1e-12


def test_a_disc_has_the_area_of_a_circle():
    path, width, _ = disc(0.4, 401)
    assert np.trapezoid(width, path[:, 1]) == pytest.approx(np.pi * 0.4**2, rel=1e-3)
