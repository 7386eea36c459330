"""What holds a watch: about the case, and over no more of it than it may."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.held import KINDS, OVERLAP, paint_held, sample_held
from dialtell.synth.shared.errors import ParameterError

SHAPE, CENTRE, RADIUS = (160, 200), (104.0, 82.0), 50.0


def distance():
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    return np.hypot(x - CENTRE[0], y - CENTRE[1]) / RADIUS


@pytest.mark.parametrize("kind", KINDS)
def test_what_lies_over_the_case_stays_at_its_rim(kind):
    rng = np.random.default_rng(5)
    seen = 0.0
    for _ in range(12):
        spec = replace(sample_held(rng=rng), kind=kind, overlap=OVERLAP)
        beneath, above = paint_held(spec, SHAPE, CENTRE, RADIUS)
        again = paint_held(spec, SHAPE, CENTRE, RADIUS)
        for layer, same in zip((beneath, above), again, strict=True):
            assert layer.colour.shape == (*SHAPE, 3) and layer.cover.shape == SHAPE
            assert layer.colour.dtype == layer.cover.dtype == np.float32
            assert 0.0 <= layer.cover.min() and layer.cover.max() <= 1.0
            assert 0.0 <= layer.colour.min() and layer.colour.max() <= 2.0
            np.testing.assert_array_equal(layer.colour, same.colour)
        # a pixel of smoothing, and a few hundredths for a finger that comes in at a slant
        assert above.cover[distance() < 1.0 - OVERLAP - 0.06].max() == 0.0
        seen += float(beneath.cover[distance() > 1.05].sum() + above.cover[distance() > 1.05].sum())
    assert seen > 0.0


def test_fingers_hide_some_of_the_rim():
    rng = np.random.default_rng(1)
    specs = [replace(sample_held(rng=rng), kind="hand", overlap=OVERLAP) for _ in range(10)]
    hidden = [paint_held(spec, SHAPE, CENTRE, RADIUS)[1].cover[distance() < 1.0].mean() for spec in specs]
    assert 0.005 < np.mean(hidden) < 0.15


def test_a_case_partly_out_of_the_frame_and_far_off_is_no_matter():
    spec = replace(sample_held(rng=np.random.default_rng(0)), kind="chain")
    for centre in ((-40.0, 10.0), (5000.0, 5000.0)):
        beneath, above = paint_held(spec, SHAPE, centre, 300.0)
        assert np.isfinite(beneath.colour).all() and np.isfinite(above.colour).all()


def test_a_hold_out_of_range_is_refused():
    spec = sample_held(rng=np.random.default_rng(0))
    with pytest.raises(ParameterError, match=r"overlap is 0\.4 radii; give a value from 0\.0 to 0\.15"):
        replace(spec, overlap=0.4)
    with pytest.raises(ParameterError, match="kind is 'claw'; give one of hand"):
        replace(spec, kind="claw")
