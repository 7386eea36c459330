"""Letterforms of fonts: they cover what a font engine draws, in both processes alike, and are what the table says."""

import re
import tomllib
from dataclasses import replace
from functools import cache
from importlib.metadata import metadata

import numpy as np
import pytest
from checkout import ROOT
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFont

from dialtell.synth.design.design import Variety
from dialtell.synth.design.placement import Setting, bent, upright
from dialtell.synth.letterforms import families
from dialtell.synth.letterforms.families import FAMILIES, GROUPS, Family, font_names
from dialtell.synth.letterforms.font import CHARACTERS
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.making import coat_of, sample_making
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Process, Zone
from dialtell.synth.strokes.hand_style import HandStyle, Workshop
from dialtell.synth.strokes.paint import flatten, join, mask
from dialtell.synth.strokes.skeleton import gather, normals

TALL = 480  # px of a capital's height in the pictures compared
MARGIN = 60
# of each role, letters with bowls, arms, joins, balls and dots
ASKED = {"roman": "IVX", "figures": "0123456789", "capitals": "AEGHMR", "text": "aehk", "script": "AMaeht"}
OWN = ("roman-heavy", "arabic-modern", "arabic-round", "serif-capitals", "round-script")


def item(name, character, height=1.0):
    form = letterform(name)
    glyph = form.glyphs[character]
    setting = Setting(name, height, form.thick * height, form.thin * height, Zone.NUMERALS, 0, 0)
    return upright(glyph, setting, (0.5 * glyph.advance * height, 0.0), 0.0)


def printed(items, scale, shape, corner):
    """Share of each pixel under the strokes as designed; corner: px of the origin (left, baseline)."""
    parts = []
    for batch in gather(items):
        zero = np.zeros(batch.width.shape, dtype=np.int64)
        parts.append(
            flatten(batch.path, 0.5 * batch.width, normals(batch.path), zero + 1.0, zero, ink=batch.ink,
                    zone=batch.zone, stroke=batch.stroke)
        )  # fmt: skip
    place = np.array([[scale, 0, corner[0]], [0, scale, corner[1]], [0, 0, 1]])
    return mask(join(parts), place, shape)


@cache
def engine(name, role):
    """Pillow's own font (FreeType) of a family, at the size that makes its capital I or its figures TALL px high."""
    family = FAMILIES[name]
    path = family.file(role == "text")
    with TTFont(path, lazy=True) as file:
        glyphs, names = file.getGlyphSet(location=family.axes or None), file.getBestCmap()
        tops = []
        for character in "147" if role == "figures" else "I":
            pen = BoundsPen(glyphs)
            glyphs[names[ord(character)]].draw(pen)
            tops.append(pen.bounds[3])
        size = TALL * file["head"].unitsPerEm / np.median(tops)
        axes = [family.axes.get(axis.axisTag, axis.defaultValue) for axis in file["fvar"].axes] if family.axes else []
    font = ImageFont.truetype(str(path), size, layout_engine=ImageFont.Layout.BASIC)
    if axes:
        font.set_variation_by_axes(axes)
    return font


def drawn_by_engine(name, role, character, shape, corner):
    picture = Image.new("L", shape[::-1], 0)
    ImageDraw.Draw(picture).text(corner, character, fill=255, font=engine(name, role), anchor="ls")
    return np.asarray(picture) / 255.0


def compared(name, role, character):
    """Likeness and share of area of our strokes against the font engine's picture."""
    shape, corner = (2 * TALL, 3 * TALL), (TALL // 2, int(1.4 * TALL))
    theirs = drawn_by_engine(name, role, character, shape, corner)
    ours = printed([item(f"font:{name}:{role}", character)], TALL, shape, corner)
    common, either = np.minimum(ours, theirs).sum(), np.maximum(ours, theirs).sum()
    return common / either, ours.sum() / theirs.sum()


def roles_compared():
    """Roles whose glyphs are as in the font: hours may be narrowed, figures set to one height or exchanged."""
    for name, family in FAMILIES.items():
        yield name, "script" if family.group == "script" else "capitals"
        if "text" in family.roles:
            yield name, "text"


@pytest.mark.parametrize(("name", "role"), list(roles_compared()))
def test_strokes_cover_what_a_font_engine_draws(name, role):
    results = np.array([compared(name, role, character) for character in ASKED[role]])
    assert results[:, 0].min() > 0.92
    assert results[:, 0].mean() > 0.95
    assert abs(results[:, 1].mean() - 1) < (0.03 if role == "text" else 0.02)


@pytest.mark.parametrize("name", ["abel", "bodoni-moda", "domine", "arvo", "oswald", "libre-baskerville"])
def test_figures_are_the_fonts_figures(name):
    """Of faces whose figures are as high as their capitals and lining as they are."""
    results = np.array([compared(name, "figures", digit) for digit in ASKED["figures"]])
    assert results[:, 0].mean() > 0.955 and results[:, 0].min() > 0.92
    assert abs(results[:, 1].mean() - 1) < 0.025


@pytest.mark.parametrize("name", ["bodoni-moda", "fraunces", "abril-fatface", "playfair-display"])
def test_hairlines_are_as_thin_as_the_fonts(name):
    """The bar of H is one hairline: its width is measured down the middle of both pictures."""
    shape, corner = (2 * TALL, 3 * TALL), (TALL // 2, int(1.4 * TALL))
    theirs = drawn_by_engine(name, "capitals", "H", shape, corner)
    ours = printed([item(f"font:{name}:capitals", "H")], TALL, shape, corner)
    columns = np.flatnonzero(theirs.sum(axis=0) > 0)
    middle = slice(int(np.mean(columns)) - 20, int(np.mean(columns)) + 20)
    assert ours[:, middle].sum() == pytest.approx(theirs[:, middle].sum(), rel=0.05)
    assert theirs[:, middle].sum(axis=0).mean() < 0.07 * TALL


def perfect(making):
    """The same making without any deviation of hand, plate, sheet or coat."""
    style = HandStyle().scaled(0.0)
    pull = replace(making.pull, shift_mm=(0.0, 0.0), turn_deg=0.0, stretch=0.0, slip_mm=(0.0, 0.0), inking=0.0,
                   roughness_um=0.0, pinholes=0.0, bare=(), tears=())  # fmt: skip
    return replace(
        making,
        workshop=Workshop(style, style, style, 1),
        plate=replace(making.plate, scatter=0.0, widen=0.0, punched=True),
        pull=pull,
    )


def apart(names, texts, scale, height=4.0):
    """Mean difference of density of one text, painted and printed without deviations, and the ratio of their areas."""
    spec = sample_spec(1, 1)
    making = perfect(sample_making(rng=np.random.default_rng(1), design=spec.design, process=Process.HAND))
    differences, areas = [], []
    for name in names:
        form = letterform(name)
        for character in texts:
            if character not in form.glyphs:
                continue
            wide = form.glyphs[character].advance * height
            shape = (int(2 * height * scale), int((wide + height) * scale))
            place = np.array([[scale, 0, 0.5 * height * scale], [0, scale, 1.5 * height * scale], [0, 0, 1.0]])
            laid = []
            for process in (Process.HAND, Process.TRANSFER):
                share, density = coat_of([item(name, character, height)], spec.design, making, process).lay(
                    place, shape
                )
                laid.append(share * np.minimum(density, spec.design.density))
            differences.append(np.abs(laid[0] - laid[1]).sum() / laid[1].sum())
            areas.append(laid[0].sum() / laid[1].sum())
    return float(np.mean(differences)), np.array(areas)


def test_a_perfect_hand_and_a_perfect_print_lay_the_same_shape():
    """Else the net would learn the shape: as near to each other as those of our own skeletons."""
    every = [name for role in ("roman", "figures", "script") for name in font_names(role, FAMILIES)][::7]
    ours, _ = apart(OWN, ("I", "V", "X", "2", "4", "5", "A", "R", "g"), 12.0)
    fonts, areas = apart(every, ("I", "V", "X", "2", "4", "5", "A", "R", "g"), 12.0)
    assert fonts < 1.3 * ours + 0.002
    assert np.abs(areas - 1).max() < 0.03


def test_every_family_has_the_letterforms_listed():
    counts = {group: sum(family.group == group for family in FAMILIES.values()) for group in GROUPS}
    assert len(FAMILIES) >= 40 and min(counts.values()) >= 5
    for role in CHARACTERS:
        names = font_names(role, FAMILIES)
        assert names and len(set(names)) == len(names)
        for name in names:
            assert letterform(name).thick > letterform(name).thin > 0


@pytest.mark.parametrize("name", ["font:great-vibes:script", "font:cardo:capitals"])
def test_a_line_is_as_long_as_its_glyphs(name):
    """Whether measured by the font's advances or by the glyphs set."""
    form = letterform(name)
    placed = form.line("AB & K", tracking=0.1)
    assert form.measure("AB & K", tracking=0.1) == pytest.approx(placed[-1][1] + placed[-1][0].advance)
    with pytest.raises(ParameterError, match="lacks"):
        form.measure("Aé")


@pytest.mark.parametrize("name", ["font:bodoni-moda:roman", "font:oswald:figures", "font:playfair-display:figures"])
def test_figures_are_one_height_and_within_their_advance(name):
    form = letterform(name)
    for text, glyph in form.glyphs.items():
        y = np.concatenate([stroke.path[:, 1] for stroke in glyph.strokes])
        x = np.concatenate([stroke.path[:, 0] for stroke in glyph.strokes])
        assert -0.06 < y.min() < 0.1 and 0.9 < y.max() < 1.06, text
        assert x.min() > -0.15 and x.max() < glyph.advance + 0.15
        assert all(stroke.width_mm(form.thick, form.thin).min() > 0 for stroke in glyph.strokes)


def test_roman_hours_are_set_close_and_alike():
    form = letterform("font:libre-baskerville:roman")
    three = form.glyphs["III"]
    stems = [stroke for stroke in three.strokes if stroke.kind is Kind.STEM]
    assert len(stems) == 3 and len({stroke.name for stroke in stems}) == 1
    gaps = np.diff(sorted(float(stroke.path[:, 0].mean()) for stroke in stems))
    assert gaps == pytest.approx([gaps[0]] * 2)
    assert form.glyphs["VIII"].advance < 1.7


def test_a_dot_is_a_dot():
    glyph = letterform("font:jost:capitals").glyphs["."]
    assert [stroke.kind for stroke in glyph.strokes] == [Kind.DOT]


def test_glyphs_bend_along_a_circle():
    form = letterform("font:cardo:roman")
    setting = Setting(form.name, 4.0, 4 * form.thick, 4 * form.thin, Zone.NUMERALS, 0, 0)
    laid = bent(form.glyphs["VIII"], setting, (0.0, 0.0), 12.0, 1.0, converge=0.5)
    radius = np.concatenate([np.hypot(*stroke.path.T) for stroke in laid.strokes])
    assert radius.min() > 11.8 and radius.max() < 16.2


def test_a_glyph_is_the_same_every_time():
    one = letterform("font:arvo:figures")
    from dialtell.synth.letterforms.font import make

    two = make("font:arvo:figures")
    for digit in "0489":
        for a, b in zip(one.glyphs[digit].strokes, two.glyphs[digit].strokes, strict=True):
            assert np.array_equal(a.path, b.path) and np.array_equal(a.weight, b.weight) and a.kind is b.kind


def test_a_missing_package_says_what_to_install(monkeypatch):
    family = Family("no-such-family", "1.0", "OFL-1.1", "slab", "NoSuch.ttf")
    with pytest.raises(ParameterError, match=r"pip install fontpkg-no-such-family==1.0"):
        family.file()
    monkeypatch.setattr(families, "version", lambda name: "0.1")
    with pytest.raises(ParameterError, match=r"0\.1.*pip install fontpkg-abel=="):
        FAMILIES["abel"].file()
    with pytest.raises(ParameterError, match="FAMILY:ROLE"):
        letterform("font:abel:script")


def test_families_are_pinned_under_open_licences():
    """The table, pyproject.toml and the installed packages say the same."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    pins = dict(re.findall(r"fontpkg-([a-z0-9-]+)==([\d.]+)", "\n".join(project["optional-dependencies"]["pages"])))
    assert pins == {name: family.version for name, family in FAMILIES.items()}
    for family in FAMILIES.values():
        assert family.licence in ("OFL-1.1", "Apache-2.0")
        assert metadata(family.distribution)["License-Expression"] == family.licence
        assert (family.file().parent.parent / "LICENSE").stat().st_size > 1000
    assert not [path for path in ROOT.rglob("*.[to]tf") if ".venv" not in path.parts]


def names_of(design):
    tracks = [design.track, *(dial.track for dial in design.subdials)]
    forms = [track.figures_letterform for track in tracks if track]
    forms += [line.letterform for line in design.signature]
    return forms + ([design.chapter.letterform] if design.chapter else [])


def test_a_share_of_the_parts_is_set_in_fonts():
    for share, low, high in ((0.0, 0.0, 0.0), (0.5, 0.4, 0.6), (1.0, 1.0, 1.0)):
        scope = Range(variety=Variety(fonts=share, uncommon=0.0))
        forms = [name for index in range(60) for name in names_of(sample_spec(3, index, scope).design)]
        part = np.mean([name.startswith("font:") for name in forms])
        assert low <= part <= high


def test_fonts_change_nothing_but_letterforms():
    plain, set_ = (sample_spec(4, 7, Range(variety=Variety(fonts=share))) for share in (0.0, 1.0))
    assert plain.making == set_.making and plain.camera == set_.camera and plain.view == set_.view
    assert plain.design.track.figures_letterform != set_.design.track.figures_letterform
    assert [line.text for line in plain.design.signature] == [line.text for line in set_.design.signature]


def test_families_left_out_are_not_drawn():
    scope = Range(variety=Variety(fonts=1.0, uncommon=0.0, families=("cardo", "abel", "satisfy")))
    forms = {name.split(":")[1] for index in range(40) for name in names_of(sample_spec(5, index, scope).design)}
    assert forms == {"cardo", "abel", "satisfy"}
