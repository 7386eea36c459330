"""What was asked for and has arrived: frames of the whole view's own advice that a close-up laid on it shows."""

import math

import pytest

from dialtell.evaluate.examine import shown

ASKED = [
    {"x": 0.0, "y": 0.6, "width": 0.6, "reason": "Seconds dial about 6 o'clock."},
    {"x": 0.0, "y": -0.5, "width": 0.6, "reason": "Signature below 12 o'clock."},
    {"x": 0.0, "y": 0.0, "width": 2.1, "reason": "The whole dial again, nearer."},
]


def square(x, y, width, turn=0.0):
    corners = [(sx * width / 2, sy * width / 2) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    c, s = math.cos(turn), math.sin(turn)
    return [[x + c * a - s * b, y + s * a + c * b] for a, b in corners]


def arrived(corners, role="laid on it"):
    photos = [{"file": "whole.jpg", "document": {"next_fields": ASKED}}, {"file": "close.jpg", "document": {}}]
    roles = {
        "/kept/whole.jpg": {"photo": "whole.jpg", "role": "whole view"},
        "/kept/close.jpg": {"photo": "close.jpg", "role": role, "place": {"corners_radii": corners}},
    }
    return shown._arrived(photos, [shown._part(photo, roles) for photo in photos])


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.0, -1.2])
def test_a_close_up_of_a_frame_is_what_was_asked_for(turn):
    assert arrived(square(0.02, 0.58, 0.9, turn)) == ["Seconds dial about 6 o'clock."]
    assert arrived(square(0.02, 0.58, 0.9, turn)[::-1]) == ["Seconds dial about 6 o'clock."]  # mirrored corners


def test_a_corner_of_it_is_not_nor_what_was_not_laid():
    assert arrived(square(0.4, 0.9, 0.6)) == []
    assert arrived(square(0.0, 0.6, 0.9), role="not placed") == []
    assert arrived(square(0.0, 0.0, 2.2)) == [one["reason"] for one in ASKED[:2]]  # the whole dial is no close-up
    assert shown._arrived([one := {"file": "whole.jpg", "document": None}], [shown._part(one, {})]) == []
