"""The outside rung: figures of others' making, laid out without our renderer."""

import ast
from pathlib import Path

import numpy as np
import pytest
from trials.outside import dials as outside_dials
from trials.outside import glyphs as outside_glyphs
from trials.outside import outside
from trials.outside.dials import HOURS, MINUTES, Kind, drawn, sample_outside
from trials.outside.glyphs import bitmap, counted, enlarged, family, fonts, handwriting, type_figure
from trials.outside.outside import OutsideRow, outside_rows, summary

from dialtell.model.net.weights_file import load_weights


@pytest.mark.parametrize("module", [outside, outside_dials, outside_glyphs])
def test_no_drawing_code_is_shared_with_the_renderer(module):
    tree = ast.parse(Path(module.__file__).read_text("utf-8"))
    taken = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}
    drawing = {name for name in taken if name.startswith("dialtell.synth")} - {
        "dialtell.synth.shared.errors",
        "dialtell.synth.shared.files",
    }
    assert not drawing


def test_handwriting_is_the_library_s_own():
    # scikit-learn documentation of load_digits: 1797 samples, 8 x 8, integers 0 to 16, about 180 of each digit
    written = handwriting()
    assert written.images.shape == (1797, 8, 8) and written.images.min() == 0 and written.images.max() == 1
    assert (written.images * 16 % 1 == 0).all()
    assert np.bincount(written.digits).min() > 170
    for writer in range(written.writer.max() + 1):  # each stretch can write every figure
        assert len(set(written.digits[written.writer == writer])) == 10


def test_counting_blocks_by_hand():
    black = np.zeros((32, 32), bool)
    black[:4, :4] = True
    black[4:6, 28:] = True
    small = counted(black)
    assert (small[0, 0], small[1, 7], small.sum()) == (1.0, 0.5, 1.5)


def test_enlarged_strokes_are_smooth_and_as_thick_as_counted():
    # a bar two blocks wide of eight high becomes a bar of a quarter of its height
    small = np.zeros((8, 8), np.float32)
    small[:, 3:5] = 1.0
    ink = enlarged(small, 80)
    assert ink.shape[0] == 80 and ink.shape[1] == pytest.approx(20, abs=3)
    assert ink[10:-10, 4:-4].min() == 1.0
    grey = (ink > 0.05) & (ink < 0.95)
    assert grey.sum() < 0.25 * ink.size  # edges of about one px


def test_fonts_have_digits_and_keep_their_proportions():
    assert len({family(path) for path in fonts()}) >= 4  # matplotlib alone brings DejaVu, STIX and Computer Modern
    sans = next(path for path in fonts() if path.name == "DejaVuSans.ttf")
    assert family(sans) == family(sans.with_name("DejaVuSans-BoldOblique.ttf")) == "DejaVuSans"
    one, eight = (type_figure(sans, text, 90) for text in ("1", "8"))
    assert one.shape[0] == eight.shape[0] == 90 and one.shape[1] < eight.shape[1]
    assert bitmap(sans, 8).any(axis=1).all()  # the digit fills the box from top to bottom


@pytest.mark.parametrize("kind", Kind)
def test_pictures_are_alike_but_for_their_figures(kind):
    spec = sample_outside(kind, rng=np.random.default_rng(4))
    other = sample_outside(Kind.HAND, rng=np.random.default_rng(4))
    assert spec.photograph == other.photograph
    picture = drawn(spec)
    assert picture.dtype == np.uint8 and picture.shape == (spec.photograph.side,) * 2
    assert (drawn(spec) == picture).all()
    (x, y), radius = spec.photograph.center, spec.photograph.radius
    for step in range(1, 13):  # there is a figure at each hour, and between narrow ones none
        for turn, inked in ((step, True), (step + 0.5, False))[: 2 if step < 8 else 1]:
            across, down = 0.68 * np.sin(np.pi * turn / 6), -0.68 * np.cos(np.pi * turn / 6)
            row, column, half = round(y + down * radius), round(x + across * radius), round(0.05 * radius)
            window = picture[row - half : row + half, column - half : column + half]
            assert bool(np.ptp(window.astype(int)) > 60) is inked, (step, inked)


def test_repeated_handwriting_repeats_and_written_does_not():
    digits = list(map(int, "".join(HOURS + MINUTES)))
    for kind in (Kind.HAND, Kind.STAMP):
        spec = sample_outside(kind, rng=np.random.default_rng(8))
        assert [int(handwriting().digits[row]) for row in spec.specimens] == digits
        of_one = {row for row, digit in zip(spec.specimens, digits, strict=True) if digit == 1}
        assert len(of_one) == (1 if kind is Kind.STAMP else digits.count(1))
        assert len({int(handwriting().writer[row]) for row in spec.specimens}) == 1


def test_summary_of_rows_known_by_hand():
    rows = [OutsideRow(Kind.HAND, f"w{i}", "hand-painted", 2.0) for i in range(4)]
    rows += [OutsideRow(Kind.STAMP, f"w{i}", "printed", -2.0) for i in range(4)]
    rows += [OutsideRow(Kind.TYPE, f"f{i % 2}", "undetermined", 2.0 if i % 2 else None) for i in range(4)]
    found = summary(rows)
    assert found["kinds"]["handwritten"]["calls"] == {"hand-painted": 4}
    area = found["auc"]["handwritten against handwritten, repeated"]
    assert area["value"] == 1.0 and area["low"] < 0.9 and area["clusters"] == 4
    tied = found["auc"]["handwritten against type"]
    assert (tied["value"], tied["n"]) == (0.5, 6)
    assert "handwritten against type through 8 x 8" not in found["auc"]


def test_a_picture_of_each_kind_is_judged(make_weights):
    rows = list(outside_rows(load_weights(make_weights(9.0, 9.0)), 1))
    assert [row.kind for row in rows] == list(Kind)
    assert all(row.log10_lr == 2.0 and row.call == "hand-painted" for row in rows)
