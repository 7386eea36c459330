"""What one look says: the outline from where its inside ends or from places on the dial, and the square look itself."""

import math

import numpy as np
import pytest

from dialtell.model.reader.file import Certainty, Reader, load_reader
from dialtell.model.reader.glance import Glance
from dialtell.model.reader.net import PADDING, SIDE, SQUARE, TURNS
from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.looks import Look, carried, first_look, square_look
from dialtell.model.reading.outline import apart
from dialtell.synth.shared.terms import MAKES, SEEN, Make

HALF = SIDE // 2
PLAIN = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
OUTLINES = [
    Ellipse((190.0, 200.0), (120.0, 120.0), 0.0),
    Ellipse((180.3, 170.8), (130.0, 95.0), 0.7),
    Ellipse((300.0, 80.0), (40.0, 22.0), 2.6),
]


def places(outline):
    """(2, HALF, HALF) true places on the dial of the half-size picture's pixels."""
    axis = 2.0 * np.arange(HALF) + 1.0
    x, y = np.meshgrid(axis, axis)
    away = np.stack([x, y]) - np.reshape(outline.center, (2, 1, 1))
    return np.einsum("ij,jab->iab", np.linalg.inv(outline.root), away)


def look_of(outline, *, onto=PLAIN, noise=0.0):
    """A look whose maps are the truth of an outline."""
    where = places(outline)
    rng = np.random.default_rng(0)
    inside = 12.0 * (1.0 - np.hypot(*where)) * math.sqrt(outline.axes[0] * outline.axes[1]) / 4.0
    where = where + noise * rng.standard_normal(where.shape)
    return Look(
        onto, np.zeros((len(SEEN), SIDE, SIDE), np.float32), inside.astype(np.float32), where.astype(np.float32),
        dict.fromkeys(MAKES, 1 / len(MAKES)), None,
    )  # fmt: skip


@pytest.mark.parametrize("outline", OUTLINES)
def test_an_outline_comes_back(outline):
    found = look_of(outline).outline((SIDE, SIDE))
    assert found is not None and apart(outline, found) < 0.005
    found = look_of(outline, noise=0.05).placed((SIDE, SIDE))
    assert found is not None and apart(outline, found) < 0.01


def test_an_outline_cut_by_the_frame():
    """Along the frame the border of the inside is not the dial's: it is left out, and the rest holds the ellipse."""
    whole = Ellipse((300.0, 190.0), (150.0, 140.0), 0.3)
    assert apart(whole, look_of(whole).outline((SIDE, SIDE))) < 0.01
    shape = (SIDE, 340)  # the photograph ends within the look, padding follows
    look = look_of(whole)
    look.inside[:, 170:] = -8.0
    assert apart(whole, look.outline(shape)) < 0.01
    assert look.rim(shape)[:, 0].max() < 338 <= look.rim((SIDE, SIDE))[:, 0].max() < 341  # where it is cut
    assert apart(whole, look.placed(shape)) < 0.005


def test_what_disagrees_counts_less():
    outline = OUTLINES[1]
    look = look_of(outline)
    look.where[:, 60:75, 70:95] += 0.8  # a tenth of the dial told wrongly
    assert apart(outline, look.placed((SIDE, SIDE))) < 0.02


def test_no_inside_no_outline():
    look = look_of(OUTLINES[0])
    look.inside[:] = -5.0
    assert look.outline((SIDE, SIDE)) is None and look.placed((SIDE, SIDE)) is None
    flat = look_of(Ellipse((190.0, 190.0), (150.0, 20.0), 0.0))  # no dial is seen so obliquely
    assert flat.outline((SIDE, SIDE)) is None and flat.placed((SIDE, SIDE)) is None


def test_the_largest_piece_counts():
    look, blob = look_of(OUTLINES[0]), look_of(OUTLINES[2])
    np.maximum(look.inside, blob.inside, out=look.inside)
    assert apart(OUTLINES[0], look.outline((SIDE, SIDE))) < 0.005


def test_carried_and_back():
    outline = OUTLINES[1]
    matrix = np.array([[1.7, 0.3], [-0.2, 0.9]])
    shift = np.array([5.0, -3.0])
    moved = carried(outline, matrix, shift)
    turn = np.linspace(0, 2 * np.pi, 40)
    assert np.abs(moved.distances(outline.points(turn) @ matrix.T + shift)).max() < 1e-3 * moved.axes[1]
    half_a_turn = Ellipse(outline.center, outline.axes, outline.angle + math.pi)
    assert np.allclose(outline.root, outline.root.T) and np.allclose(outline.root, half_a_turn.root)
    onto = np.column_stack([matrix, shift])
    look = look_of(moved, onto=onto)
    assert apart(outline, look.in_photo(moved)) < 1e-6
    assert np.allclose(look.to_photo(np.array([matrix @ [7.0, 8.0] + shift])), [[7.0, 8.0]])
    assert look.photo_px == pytest.approx(1 / math.sqrt(1.7 * 0.9 + 0.06))


class Eye:
    """A net that says nothing and keeps what it was shown."""

    def __call__(self, picture, turn):
        self.picture = picture
        sizes = (len(SEEN), SIDE, SIDE), (HALF, HALF), (2, HALF, HALF), len(MAKES)
        return Glance(*map(np.zeros, sizes), np.zeros(TURNS) if turn else None)


def reader():
    return Reader(Eye(), "eye", "0", "", Certainty(), {})


def ellipse_picture(outline, shape, dtype=np.uint8):
    rows, columns = np.indices(shape)
    points = np.stack([columns + 0.5, rows + 0.5], axis=-1) - outline.center
    away = np.hypot(*np.moveaxis(points @ np.linalg.inv(outline.root).T, -1, 0))
    return np.where(away < 1, np.iinfo(dtype).max, 0).astype(dtype)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("outline", [
    Ellipse((400.0, 300.0), (210.0, 130.0), 0.5), Ellipse((1000.0, 900.0), (880.0, 700.0), 2.0),
    Ellipse((120.0, 90.0), (60.0, 45.0), 1.2),
])  # fmt: skip
def test_a_square_look_makes_the_rim_a_circle(outline, dtype):
    shape = (round(2 * outline.center[1]), round(2 * outline.center[0]))
    eye = reader()
    look = square_look(ellipse_picture(outline, shape, dtype), outline, eye)
    bright = eye.looks.picture[..., 1]
    middle = SIDE / 2
    turn = np.arange(0, 360, 3) * np.pi / 180
    radii = np.arange(SQUARE - 20, SQUARE + 20, 0.25)
    x = np.clip(np.floor(middle + radii[:, None] * np.sin(turn)), 0, SIDE - 1).astype(int)
    y = np.clip(np.floor(middle - radii[:, None] * np.cos(turn)), 0, SIDE - 1).astype(int)
    values = bright[y, x] > 127.5
    rim = radii[0] + 0.25 * values.sum(axis=0)
    assert abs(rim.mean() - SQUARE) < 0.5 and rim.std() < 1.0
    assert np.abs(outline.distances(look.to_photo(np.array([[middle, middle - SQUARE]])))) < 1e-6 * outline.axes[0]
    assert look.turn is not None and look.turn.sum() == pytest.approx(1.0)


def test_the_first_look_is_the_whole_photograph():
    codes = np.zeros((300, 600), np.uint8)
    codes[:, 300:] = 200
    eye = reader()
    look = first_look(codes, eye)
    shown = eye.looks.picture
    assert shown.shape == (SIDE, SIDE, 3) and (shown[SIDE // 2 :] == PADDING).all()
    assert (shown[: SIDE // 2, : SIDE // 2 - 1] == 0).all() and (shown[: SIDE // 2, SIDE // 2 + 1 :] == 200).all()
    assert np.allclose(look.to_photo(np.array([[SIDE, SIDE / 2]])), [[600.0, 300.0]])
    assert look.make[Make.ENAMEL] == pytest.approx(1 / len(MAKES)) and look.turn is None


def test_a_look_that_is_not_asked_for_12_sees_the_same():
    """Training knows where 12 stands, so its readings leave out that part of the net."""
    outline, eye = Ellipse((200.0, 180.0), (150.0, 120.0), 0.4), load_reader()
    codes = np.random.default_rng(3).integers(0, 256, (380, 400, 3), dtype=np.uint8)
    asked, plain = (square_look(codes, outline, eye, turn=turn) for turn in (True, False))
    assert asked.turn is not None and plain.turn is None
    for name in ("names", "inside", "where"):
        np.testing.assert_array_equal(getattr(asked, name), getattr(plain, name))
    assert asked.make == plain.make
