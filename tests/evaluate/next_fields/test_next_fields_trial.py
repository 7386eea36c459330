"""The trial of what to photograph next: where its close-ups lie, and how it counts."""

from __future__ import annotations

import numpy as np
import pytest
from trials.reading.next_fields import ADVISED, AIM, MOST, RANDOM, Judged, against, close_spec, document, figures, table
from trials.reading.one_dial import SEED, whole_spec

from dialtell.synth.photograph.view import homography, to_px


def test_an_advised_close_up_lies_where_it_is_asked_for_and_a_random_one_does_not_know() -> None:
    spec = whole_spec(SEED, 4)
    radius = spec.design.radius_mm
    asked = np.array([0.5, -0.3]) * radius
    shots = [close_spec(spec, number, 1500.0, 0.6, asked) for number in range(6)]
    for shot in shots:
        middle = to_px(np.linalg.inv(homography(shot.view)), 0.5 * np.array(shot.view.shape[::-1], float))
        assert np.hypot(*(middle - asked)) < 5 * AIM * radius
        assert shot.view.shape == (900, 900) and 1500.0 <= shot.view.px_per_mm * radius <= 1.26 * 1500.0
    others = [close_spec(spec, number, 1500.0, 0.6, None) for number in range(6)]
    assert all(a.camera == b.camera and a.view.roll_deg == b.view.roll_deg for a, b in zip(shots, others, strict=True))
    assert np.std([other.view.centre_x_px for other in others]) > np.std([shot.view.centre_x_px for shot in shots]) / 4


def judged(hand: bool, advised: str, random: str) -> Judged:
    calls = {ADVISED: ["undetermined"] + MOST * [advised], RANDOM: ["undetermined"] + MOST * [random]}
    ratio = 1.0 if hand else -1.0
    raw = {arm: [0.0] + MOST * [ratio] for arm in calls}
    return Judged(1, hand, False, raw, calls, {arm: MOST * [True] for arm in calls})


def test_what_is_settled_and_by_which_arm_alone() -> None:
    dials = [
        judged(True, "hand-painted", "undetermined"), judged(True, "hand-painted", "hand-painted"),
        judged(False, "undetermined", "hand-painted"), judged(False, "printed", "undetermined"),
    ]  # fmt: skip
    rows = {(row["arm"], row["fields"]): row for row in figures(dials)}
    assert rows[ADVISED, 0]["decided"]["count"] == 0 and rows[ADVISED, 2]["decided"]["count"] == 3
    assert rows[ADVISED, 2]["right"]["count"] == 3 and rows[RANDOM, 2]["right"]["count"] == 1
    assert rows[ADVISED, 4]["laid_mean"] == MOST and rows[ADVISED, 4]["auc"] == pytest.approx(1.0)
    alone = against(dials, 1)
    assert alone["advised alone, rightly"] == 2 and alone["random alone, wrongly"] == 1
    said = table(document(dials, 9, 5, {"name": "strokes", "sha256": "ab" * 32}))
    assert "9 drawn watch dials, 5 settled" in said
