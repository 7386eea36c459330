"""Truth from the spec: outline, zones and label masks."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.scene import DialSpec, Range, sample_spec
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.synth.truth import (
    STROKES,
    label_masks,
    outline,
    paint_of,
    process_label,
    px_per_mm,
    zone_cover,
    zones_px,
)

SMALL = Range(max_side=420, pixels_per_radius=(120.0, 180.0))


def view(tilt: float, azimuth: float, perspective: float) -> ViewSpec:
    return ViewSpec(8.0, tilt, azimuth, 10.0, perspective, 400, 420, 190.0, 230.0, 21.0, "whole")


def rim(spec: ViewSpec) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 721)
    return to_px(homography(spec), spec.dial_radius_mm * np.stack([np.sin(turn), -np.cos(turn)], axis=1))


@pytest.mark.parametrize("perspective", [0.0, 0.1, 0.5])
@pytest.mark.parametrize("tilt", [1.0, 20.0, 55.0])
def test_every_point_of_the_rim_lies_on_the_outline(tilt: float, perspective: float) -> None:
    spec = view(tilt, 130.0, perspective)
    found = outline(spec)
    c, s = np.cos(found.angle_rad), np.sin(found.angle_rad)
    along = (rim(spec) - found.center_px) @ np.array([[c, -s], [s, c]]) / found.axes_px
    assert found.axes_px[0] >= found.axes_px[1] > 0
    assert np.abs(np.hypot(*along.T) - 1).max() < 1e-9


def test_a_parallel_view_shortens_one_axis_by_the_cosine() -> None:
    # a disc seen from afar at an angle: semi-axes r and r cos(tilt), the long one square to the lean (geometry)
    found = outline(view(40.0, 130.0, 0.0))
    assert found.axes_px == pytest.approx((168.0, 168.0 * np.cos(np.radians(40.0))), rel=1e-12)
    assert found.angle_rad == pytest.approx(np.radians(130.0), abs=1e-12)
    assert found.center_px == pytest.approx((190.0, 230.0), abs=1e-9)
    assert px_per_mm(view(40.0, 130.0, 0.0)) == pytest.approx(8.0 * np.sqrt(np.cos(np.radians(40.0))), rel=1e-12)


def test_the_strokes_of_each_zone_lie_in_its_outlines() -> None:
    inside, total = np.zeros(len(ZONES)), np.zeros(len(ZONES))
    for index in range(10):
        spec = sample_spec(21, index, SMALL)
        for number, zone in enumerate(ZONES):
            strokes = label_masks(spec, zone)[STROKES]
            if strokes.sum() > 0:
                inside[number] += np.minimum(strokes, zone_cover(spec, zone)).sum()
                total[number] += strokes.sum()
                assert inside[number] > 0, f"index {index}: {zone} has strokes and no outline"
    assert (total > 0).all()
    assert (inside / total > 0.97).all(), inside / total


def test_a_dial_without_seconds_has_no_outline_for_it() -> None:
    scope = replace(SMALL, variety=replace(SMALL.variety, layouts=("no seconds",)))
    spec = sample_spec(22, 0, scope)
    assert zones_px(spec)[Zone.SECONDS_BIT] == ()
    assert not zone_cover(spec, Zone.SECONDS_BIT).any()


@pytest.fixture(scope="module")
def specs() -> list[DialSpec]:
    return [sample_spec(23, index, SMALL) for index in range(6)]


@pytest.mark.parametrize("process", Process)
def test_labels_lie_within_the_strokes_and_belong_to_their_process(specs: list[DialSpec], process: Process) -> None:
    seen = set()
    for spec in specs:
        masks = label_masks(spec.as_process(process))
        strokes = masks.pop(STROKES)
        assert strokes.shape == spec.view.shape and 0 <= strokes.min() and 0.9 < strokes.max() <= 1
        for label, share in masks.items():
            assert share.max() > 0, label
            if label == "grain":  # half of its band lies on the enamel beside the strokes, also those past the frame
                beside = cv2.dilate(strokes, np.ones((5, 5))) == 0
                assert (share * beside)[2:-2, 2:-2].max() < 1e-6
                continue
            assert (share <= strokes).all(), label
        seen |= set(masks)
    if process is Process.HAND:
        assert {"fading", "overshoot", "pool"} <= seen and "grain" not in seen
    else:
        assert seen == ({"grain"} if process is Process.PHOTOGRAPHIC else set())


def test_guide_lines_show_on_painted_dials_only() -> None:
    spec = next(
        spec
        for index in range(100)
        if (spec := sample_spec(24, index, SMALL)).making.workshop.layout.guide_lines > 0 and spec.design.chapter
    )
    assert label_masks(spec.as_process(Process.HAND))["guide"].sum() > 10
    for process in (Process.TRANSFER, Process.PHOTOGRAPHIC):
        assert "guide" not in label_masks(spec.as_process(process))


def test_one_stroke_is_part_of_its_zone(specs: list[DialSpec]) -> None:
    spec = specs[0].as_process(Process.HAND)
    zone = Zone.MINUTE_TRACK
    paint = paint_of(spec, zone)
    numbers, samples = np.unique(paint.stroke, return_counts=True)
    number = int(numbers[samples.argmin()])  # a tick or a dot, not a ring
    one, all_ = label_masks(spec, zone, number)[STROKES], label_masks(spec, zone)[STROKES]
    assert 0 < one.sum() < 0.2 * all_.sum()
    assert (one <= all_ + 1e-4).all()


def test_twins_differ_in_process_alone(specs: list[DialSpec]) -> None:
    for spec in specs:
        hand, print_ = spec.as_process(Process.HAND), spec.as_process(Process.TRANSFER)
        assert hand != print_
        assert replace(hand, making=replace(hand.making, processes=print_.making.processes)) == print_
        assert (process_label(hand), process_label(print_)) == ("hand", "transfer")


def test_twins_without_scatter_cover_the_same_pixels() -> None:
    scope = replace(SMALL, jitter=0.0, scatter=(0.0, 0.0))
    for index in range(4):
        spec = sample_spec(25, index, scope)
        hand = label_masks(spec.as_process(Process.HAND))[STROKES]
        for process in (Process.TRANSFER, Process.PHOTOGRAPHIC):
            print_ = label_masks(spec.as_process(process))[STROKES]
            common = np.minimum(hand, print_).sum() / np.maximum(hand, print_).sum()
            # what is left is the plate's gain in width, the sheet's stretch and the powder's spread
            assert common > 0.6, f"index {index}, {process}: {common:.3f}"


def test_every_cue_of_a_clumsy_hand_has_its_mask() -> None:
    """Gaps at junctions and retouching too; where a cue's slices lie is held in test_hand and test_paint."""
    seen: dict[str, float] = {}
    for index in range(6):
        spec = sample_spec(26, index, replace(SMALL, jitter=1.5, steadiness=(0.0, 0.4)), Process.HAND)
        for label, share in label_masks(spec).items():
            seen[label] = seen.get(label, 0.0) + float(share.sum())
    strokes = seen.pop(STROKES)
    assert {"gap", "retouch", "pool", "overshoot", "fading"} <= set(seen)
    assert all(10 < area < strokes for area in seen.values()), seen
