"""What is laid over a picture: the mask says where, and the rest is left as it was."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.overlay import KINDS, paint_overlay, sample_overlay
from dialtell.synth.shared.errors import ParameterError

PICTURE = np.random.default_rng(0).integers(60, 200, (120, 160, 3)).astype(np.uint8)


@pytest.mark.parametrize("kind", KINDS)
def test_the_mask_is_where_the_picture_visibly_changed(kind):
    rng = np.random.default_rng(4)
    changed = []
    for _ in range(12):
        spec = replace(sample_overlay(rng=rng), kinds=(kind,), opacity=0.8)
        before = PICTURE.copy()
        laid, mask = paint_overlay(spec, before)
        np.testing.assert_array_equal(before, PICTURE)
        assert laid.shape == PICTURE.shape and laid.dtype == np.uint8 and mask.shape == PICTURE.shape[:2]
        difference = np.abs(laid.astype(int) - PICTURE).max(axis=2)
        assert difference[~mask].max(initial=0) < 4 <= difference[mask].min(initial=255)
        np.testing.assert_array_equal(laid, paint_overlay(spec, PICTURE)[0])
        changed.append(mask.mean())
    assert np.median(changed) > 0.001 and np.max(changed) < 0.75


def test_two_in_three_pictures_are_left_alone():
    rng = np.random.default_rng(0)
    specs = [sample_overlay(rng=rng) for _ in range(2000)]
    bare = [spec for spec in specs if not spec.kinds]
    assert len(bare) / len(specs) == pytest.approx(0.65, abs=0.04)
    laid, mask = paint_overlay(bare[0], PICTURE)
    np.testing.assert_array_equal(laid, PICTURE)
    assert not mask.any()


def test_a_fainter_watermark_changes_less():
    spec = replace(
        sample_overlay(rng=np.random.default_rng(0)), kinds=("watermark",), size=0.15, colour=(1.0, 1.0, 1.0)
    )
    faint, strong = (
        np.abs(paint_overlay(replace(spec, opacity=opacity), PICTURE)[0].astype(int) - PICTURE).sum()
        for opacity in (0.1, 0.9)
    )
    assert 0 < 5 * faint < strong


def test_an_overlay_out_of_range_is_refused():
    with pytest.raises(ParameterError, match="kinds has 'stain'; give some of watermark"):
        replace(sample_overlay(rng=np.random.default_rng(0)), kinds=("stain",))
