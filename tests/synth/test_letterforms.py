"""Letterforms: every promised character is there, and is drawn as such a character must be."""

from __future__ import annotations

import itertools
import string

import numpy as np
import pytest

from dialtell.synth.letterforms.curve import hobby, sample
from dialtell.synth.letterforms.glyph import LETTERFORMS, Glyph, GlyphStroke, Letterform, letterform
from dialtell.synth.letterforms.roman import CUTS, compose, numeral
from dialtell.synth.letterforms.script import JOIN
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.raster import coverage

HOURS = ["I", "II", "III", "IIII", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII"]
PROMISED = {
    "roman-heavy": [*HOURS, "IV"],
    "roman-full": [*HOURS, "IV"],
    "roman-slender": [*HOURS, "IV"],
    "arabic-modern": list(string.digits),
    "arabic-teardrop": list(string.digits),
    "arabic-round": list(string.digits),
    "arabic-plain": list(string.digits),
    "serif-capitals": list(string.ascii_uppercase + "&.,-'"),
    "block-capitals": list(string.ascii_uppercase + "&.,-'"),
    "round-script": list(string.ascii_letters),
    "italic-lower": list(string.ascii_letters),
}
LOWEST = {"round-script": -0.5, "italic-lower": -0.4}


def offsets(stroke: GlyphStroke, form: Letterform) -> list[np.ndarray]:
    """Both edges of a stroke at its letterform's usual widths."""
    slope = np.gradient(stroke.path, axis=0)
    normal = np.column_stack([-slope[:, 1], slope[:, 0]]) / np.hypot(*slope.T)[:, None]
    half = 0.5 * stroke.width_mm(form.thick, form.thin)[:, None]
    return [stroke.path + half * normal, stroke.path - half * normal]


def picture(glyph: Glyph, form: Letterform) -> np.ndarray:
    """Glyph at 40 px a height on a common canvas; y down."""
    image = np.zeros((56, 56), dtype=np.float32)
    for stroke in glyph.strokes:
        left, right = (edge * [40.0, -40.0] + [8.0, 48.0] for edge in offsets(stroke, form))
        image = np.maximum(image, coverage([np.concatenate([left, right[::-1]])], image.shape))
    return np.clip(image, 0.0, 1.0)


def test_every_promised_letterform_and_character_is_there() -> None:
    assert set(PROMISED) == set(LETTERFORMS)
    for name, characters in PROMISED.items():
        missing = [c for c in characters if c not in letterform(name).glyphs]
        assert not missing, (name, missing)


@pytest.mark.parametrize("name", LETTERFORMS)
def test_strokes_are_finite_dense_and_inside_the_box(name: str) -> None:
    form = letterform(name)
    for glyph in form.glyphs.values():
        assert 0.0 < glyph.advance < 3.0
        assert len({id(s) for s in glyph.strokes}) == len(glyph.strokes) > 0
        for stroke in glyph.strokes:
            where = (glyph.name, stroke.name)
            assert len(stroke.path) >= 2 and stroke.path.shape == (len(stroke.weight), 2), where
            assert np.all(np.isfinite(stroke.path)) and np.all(np.isfinite(stroke.weight)), where
            step = np.hypot(*np.diff(stroke.path, axis=0).T)
            assert step.min() > 0.0, where
            if stroke.kind is Kind.CURVE:
                assert step.max() <= 0.03, where
            most = 1.8 if stroke.kind is Kind.DOT else 1.2  # balls are wider than stems
            assert stroke.weight.min() >= 0.0 and stroke.weight.max() <= most, where
            # a designer may choose other widths: never a negative one
            for thick, thin in ((form.thick, form.thin), (3.0 * form.thin, form.thin), (0.3, 0.01)):
                assert stroke.width_mm(thick, thin).min() >= 0.0, where
            points = np.concatenate(offsets(stroke, form))
            assert points[:, 1].min() >= LOWEST.get(name, -0.3) and points[:, 1].max() <= 1.1, where
            assert points[:, 0].min() >= -0.6 and points[:, 0].max() <= glyph.advance + 0.7, where


@pytest.mark.parametrize("name", LETTERFORMS)
def test_edges_do_not_fold_back(name: str) -> None:
    """The rasteriser needs simple outlines: an edge may run backwards by a hundredth of a height at most."""
    form = letterform(name)
    for glyph in form.glyphs.values():
        for stroke in glyph.strokes:
            ahead = np.diff(stroke.path, axis=0)
            ahead = ahead / np.hypot(*ahead.T)[:, None]
            for edge in offsets(stroke, form):
                run = np.sum(np.diff(edge, axis=0) * ahead, axis=1)
                assert -np.sum(run[run < 0.0]) <= 0.01, (glyph.name, stroke.name)


@pytest.mark.parametrize("name", LETTERFORMS)
def test_strokes_of_one_name_in_one_glyph_are_alike(name: str) -> None:
    """Strokes that share a name are later compared as ones that ought to be the same."""
    for glyph in letterform(name).glyphs.values():
        lengths: dict[str, set[float]] = {}
        for stroke in glyph.strokes:
            length = round(float(np.hypot(*np.diff(stroke.path, axis=0).T).sum()), 3)
            lengths.setdefault(stroke.name, set()).add(length)
        for stroke_name, found in lengths.items():
            assert max(found) - min(found) <= 0.02 * max(found), (glyph.name, stroke_name, found)


@pytest.mark.parametrize("name", ["roman-heavy", "roman-slender"])
def test_roman_figures_have_the_stems_their_letters_call_for(name: str) -> None:
    for text, glyph in letterform(name).glyphs.items():
        kinds = [stroke.kind for stroke in glyph.strokes]
        assert kinds.count(Kind.STEM) == len(text), text
        assert kinds.count(Kind.THIN) == text.count("V") + text.count("X"), text
        assert set(kinds) <= {Kind.STEM, Kind.THIN, Kind.BAR}


def test_roman_bars_are_joined_in_the_heavy_cut_only() -> None:
    def bars(name: str, text: str) -> int:
        return sum(s.kind is Kind.BAR for s in letterform(name).glyphs[text].strokes)

    assert bars("roman-heavy", "IIII") == 2 and bars("roman-slender", "IIII") == 8
    # every limb is capped, whichever way: bars reach past the outer stems
    for name in CUTS:
        three = letterform(name).glyphs["III"]
        ends = np.concatenate([s.path for s in three.strokes if s.kind is Kind.BAR])
        stems = np.concatenate([s.path for s in three.strokes if s.kind is Kind.STEM])
        assert ends[:, 0].min() < stems[:, 0].min() - 0.05 and ends[:, 0].max() > stems[:, 0].max() + 0.05


def test_numerals_are_the_dial_makers() -> None:
    """IIII for 4 and IX for 9 are customary on dials: D. E. Smith, History of Mathematics, vol. II."""
    assert numeral(4) == "IIII" and numeral(9) == "IX"
    assert [numeral(hour) for hour in range(1, 13)] == HOURS
    value = {"I": 1, "V": 5, "X": 10}
    for hour in range(1, 25):
        total = sum(value[c] for c in numeral(hour)) - (2 if "IX" in numeral(hour) else 0)
        assert total == hour
    with pytest.raises(ParameterError, match="hour is 25; give a whole hour from 1 to 24"):
        numeral(25)
    with pytest.raises(ParameterError, match="'XL' has 'L'"):
        compose("XL", CUTS["roman-heavy"])


def test_script_letters_join() -> None:
    """Where one lower-case letter ends the next begins: same height, no gap."""
    form = letterform("round-script")
    starts: dict[str, np.ndarray] = {}
    ends: dict[str, np.ndarray] = {}
    for letter in string.ascii_lowercase:
        glyph = form.glyphs[letter]
        joins = [s.path[0] for s in glyph.strokes if np.allclose(s.path[0], [0.0, JOIN], atol=1e-9)]
        assert joins, letter
        starts[letter] = joins[0]
        tips = [s.path[-1] for s in glyph.strokes if s.kind is Kind.CURVE]
        ends[letter] = max(tips, key=lambda tip: -abs(tip[0] - glyph.advance) - abs(tip[1] - JOIN))
    for before, after in itertools.product(string.ascii_lowercase, repeat=2):
        gap = ends[before] - form.glyphs[before].advance * np.array([1.0, 0.0]) - starts[after]
        assert abs(gap[1]) <= 0.03 and abs(gap[0]) <= 0.03, before + after


def test_script_swells_on_the_way_down_only() -> None:
    """Copperplate practice (common practice): upstrokes are hairlines, downstrokes carry the weight."""
    form = letterform("round-script")
    for letter in "aegilnouy":
        for stroke in form.glyphs[letter].strokes:
            if stroke.kind is Kind.CURVE:
                rise = np.gradient(stroke.path[:, 1]) / np.hypot(*np.gradient(stroke.path, axis=0).T)
                assert np.all(stroke.weight[rise > 0.3] < 0.15), letter
        heaviest = max(s.weight.max() for s in form.glyphs[letter].strokes if s.kind is not Kind.DOT)
        assert 0.9 < heaviest < 1.2, letter


@pytest.mark.parametrize("name", ["arabic-modern", "arabic-round", "arabic-plain"])
def test_digits_can_be_told_apart(name: str) -> None:
    form = letterform(name)
    pictures = {digit: picture(form.glyphs[digit], form).ravel() for digit in string.digits}
    for a, b in itertools.combinations(string.digits, 2):
        assert np.corrcoef(pictures[a], pictures[b])[0, 1] < 0.95, a + b
    for digit, pixels in pictures.items():
        assert 0.02 < pixels.mean() < 0.4, digit


def test_slanted_limb_ends_lie_along_the_lines() -> None:
    form = letterform("roman-heavy")
    stem = next(s for s in form.glyphs["X"].strokes if s.kind is Kind.STEM)
    left, right = offsets(stem, form)
    for end, line in ((0, 1.0), (-1, 0.0)):
        assert abs(left[end, 1] - line) < 0.006 and abs(right[end, 1] - line) < 0.006


def test_lines_are_set_glyph_after_glyph() -> None:
    form = letterform("serif-capitals")
    line = form.line("A B", tracking=0.1)
    assert [glyph.name for glyph, _ in line] == ["A", "B"]
    assert line[1][1] == pytest.approx(form.glyphs["A"].advance + form.space + 0.2)
    assert form.measure("A B", tracking=0.1) == pytest.approx(line[1][1] + form.glyphs["B"].advance)
    assert [glyph.name for glyph, _ in letterform("roman-heavy").line("VIII IX")] == ["VIII", "IX"]
    assert form.line("") == [] and form.measure("") == 0.0
    with pytest.raises(ParameterError, match="has 'é', which letterform 'serif-capitals' lacks"):
        form.line("Bé")
    with pytest.raises(ParameterError, match="letterform is 'gothic'; use one of roman-heavy"):
        letterform("gothic")
    assert letterform("serif-capitals") is form


def test_hobby_spline_draws_a_near_circle_and_straight_lines() -> None:
    """Four points with tangents give a circle to about 0.03 % (what METAFONT does; figure from memory)."""
    points = [1 + 0j, 1j, -1 + 0j, -1j, 1 + 0j]
    up = np.pi / 2
    circle = np.concatenate([sample(p) for p in hobby(points, [up, 2 * up, 3 * up, 4 * up, up])])
    assert np.abs(np.hypot(*circle.T) - 1.0).max() < 5e-4
    # tangents left free between the ends: the spline still comes close to the circle through the points
    free = np.concatenate([sample(p) for p in hobby(points, [up, None, None, None, up])])
    assert np.abs(np.hypot(*free.T) - 1.0).max() < 5e-3
    straight = sample(hobby([0j, 3 + 4j], [None, None])[0])
    assert np.abs(straight[:, 1] - straight[:, 0] * 4 / 3).max() < 1e-12
