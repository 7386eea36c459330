import pytest

from dialtell.model.net.resolution import USUAL_NEED, Resolution, needed_pixels_per_radius
from dialtell.model.reading.patches import SCALE
from dialtell.train.run.calibrate import RESOLUTION_BINS


def record(*shares):
    """Weights whose figures leave these shares undetermined, in the order of the bins."""
    rows = [{"resolution": "all", "n": 900, "undetermined_share": 0.1}]
    for (name, _, _), share in zip(RESOLUTION_BINS, shares, strict=True):
        rows.append({"resolution": name, "n": 200} | ({} if share is None else {"undetermined_share": share}))
    return {"figures": {"dial": rows}}


def test_need_comes_from_the_figures_of_the_weights():
    # a bin's name states its lower bound in px/mm of an 18 size dial; the bound itself is log2 of px per patch px
    cases = (0.9, 0.4, 0.2, 0.1, 0.1, 0.1), (None, 0.9, 0.5, 0.1, 0.2, 0.1), (0.9, 0.9, 0.9, 0.2, 0.1, 0.1)
    for index, shares in enumerate(cases):
        low = RESOLUTION_BINS[index + 1][1]
        assert needed_pixels_per_radius(record(*shares)) == pytest.approx(SCALE * 2**low, rel=0.06)


@pytest.mark.parametrize("told", [{}, {"figures": {}}, {"figures": {"dial": "odd"}}, {"figures": {"dial": [3, {}]}}])
def test_need_without_figures(told):
    assert needed_pixels_per_radius(told) == USUAL_NEED
    assert needed_pixels_per_radius(record(*[0.9] * 6)) == USUAL_NEED


def test_inflated_only_where_missing_px_matter():
    assert Resolution(stored=1000, true=300, needed=640).inflated
    assert not Resolution(stored=1000, true=600, needed=640).inflated
    assert not Resolution(stored=6000, true=2 * SCALE + 1, needed=640).inflated  # more than the net looks at
    assert not Resolution(stored=1000, true=0, needed=640).inflated  # not known


def test_a_photograph_just_short_is_not_said_to_resolve_what_is_needed():
    assert Resolution(900.0, 306.0, 311.0).shortfall == (
        "the photograph resolves just less than what is needed to read thin strokes: about 310 px across the dial"
    )
