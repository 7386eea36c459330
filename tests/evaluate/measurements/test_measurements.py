"""Measurements on strokes whose truth is known: bias and spread by resolution, outside examples, too few, covered."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr
from seen_maps import seen_under
from skimage.morphology import skeletonize
from stroke_sheets import BLACK, RADIUS_MM, bar, flat, picture, swelling

from dialtell.evaluate.measurements import dots, edges, ends, likeness, rings, ticks, tone, width
from dialtell.evaluate.measurements.circle import fit_circle
from dialtell.evaluate.measurements.finding import MM, RADII, Finding
from dialtell.evaluate.measurements.gathering import measure_sheet
from dialtell.evaluate.measurements.strokes import find_strokes
from dialtell.evaluate.measurements.thinning import branches, thinned
from dialtell.model.reading.zones import ZoneMap, lattice
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES, Zone

RESOLUTIONS = (8, 15, 30, 60, 120)  # px/mm
PITCH = 1.7  # mm between stems


def stems(px_per_mm, absorbed, width_mm=0.2, count=10, noise=0.006, **more):
    """Near-upright stems beside two thick black ones, measured."""
    rng = np.random.default_rng(int(1000 * px_per_mm))
    places = [(0.8 + PITCH * k, 0.5 + rng.uniform(0, 0.1), rng.uniform(-0.1, 0.1)) for k in range(count)]
    polygons = [bar(x, y, 3.0, width_mm, angle) for x, y, angle in places]
    thick = [bar(PITCH * count + 0.8 + 1.6 * k, 0.5, 3.0, 0.8) for k in range(4)]
    light = picture(
        polygons + thick,
        [absorbed] * count + [1 - BLACK] * 4,
        (PITCH * count + 7.0, 4.0),
        px_per_mm,
        noise=noise,
        rng=rng,
    )
    return flat(light, px_per_mm, **more), count


def thin_only(strokes, px_per_mm, count):
    return [s for s in strokes if s.path[:, 0].mean() < (PITCH * count + 0.2) * px_per_mm]


@pytest.mark.parametrize("px_per_mm", RESOLUTIONS)
@pytest.mark.parametrize("width_mm", [0.2, 0.6])
def test_width_density_and_length_of_stems(px_per_mm, width_mm):
    sheet, count = stems(px_per_mm, 0.8, width_mm)
    found = thin_only(find_strokes(sheet), px_per_mm, count)
    assert len(found) == count
    widths = np.array([s.typical_width for s in found]) / px_per_mm
    density = np.array([s.typical_density for s in found])
    blurs = width_mm * px_per_mm / sheet.blur
    wide = 0.02 if blurs > 6 else 0.06
    assert widths.mean() == pytest.approx(width_mm, rel=wide)
    assert np.std(widths) < 0.03 * width_mm
    # ISO 5 (from memory): D = -log10 R
    assert density.mean() == pytest.approx(-math.log10(0.2), abs=0.03 if blurs > 6 else 0.12)
    lengths = np.array([s.length for s in found]) / px_per_mm
    assert lengths.mean() == pytest.approx(3.0, abs=0.03)


def test_a_line_under_a_pixel_keeps_its_mass_and_is_said_to_be_wider_only_within_the_blur():
    sheet, count = stems(8, 0.9, 0.08)
    found = thin_only(find_strokes(sheet), 8, count)
    mass = [s.typical_width / 8 * (1 - 10**-s.typical_density) for s in found]
    assert np.median(mass) == pytest.approx(0.9 * 0.08, rel=0.15)


@pytest.mark.parametrize("px_per_mm", RESOLUTIONS[1:])
def test_thin_strokes_fainter_than_thick_ones(px_per_mm):
    truth = math.log10(1 - 0.7) / math.log10(BLACK)
    sheet, count = stems(px_per_mm, 0.7)
    strokes = find_strokes(sheet)
    thin = thin_only(strokes, px_per_mm, count)
    first = tone.tone_findings(Zone.OTHER, thin, strokes)[0]
    assert first.measure is tone.THIN_TO_THICK and first.strokes == count
    assert first.value == pytest.approx(truth, abs=0.05)
    black, count = stems(px_per_mm, 1 - BLACK)
    strokes = find_strokes(black)
    even = tone.tone_findings(Zone.OTHER, thin_only(strokes, px_per_mm, count), strokes)[0]
    assert even.value > 0.93


def test_strokes_blacker_than_can_be_told_give_no_tone():
    sheet, count = stems(60, 0.999, noise=0.0)
    strokes = find_strokes(sheet)
    findings = tone.tone_findings(Zone.OTHER, thin_only(strokes, 60, count), strokes)
    assert [f.value for f in findings] == [None] * 4


@pytest.mark.parametrize("px_per_mm", RESOLUTIONS[1:])
def test_swelling_strokes(px_per_mm):
    polygons = [swelling(0.8 + 1.5 * k, 0.4, 4.0, 0.5, 0.15) for k in range(8)]
    light = picture(polygons, [0.9] * 8, (13.0, 5.0), px_per_mm, noise=0.006, rng=np.random.default_rng(2))
    along = width.width_findings(Zone.OTHER, find_strokes(flat(light, px_per_mm)))[0]
    # 1.4826 times the median absolute deviation of a sine of amplitude A is 1.0484 A; the smoothing over px takes some
    tolerance = 0.15 if px_per_mm >= 30 else 0.25
    assert along.strokes == 8 and along.value == pytest.approx(0.15 * 1.4826 / math.sqrt(2), rel=tolerance)
    straight = [bar(0.8 + 1.5 * k, 0.4, 4.0, 0.5) for k in range(8)]
    light = picture(straight, [0.9] * 8, (13.0, 5.0), px_per_mm, noise=0.006, rng=np.random.default_rng(2))
    even = width.width_findings(Zone.OTHER, find_strokes(flat(light, px_per_mm)))[0]
    assert even.value < 0.01


def test_widths_of_like_strokes_scatter_by_what_they_do():
    rng = np.random.default_rng(4)
    widths = 0.4 * np.exp(0.1 * rng.standard_normal(40))
    polygons = [bar(0.6 + 1.1 * (k % 20), 0.5 + 4.0 * (k // 20), 3.0, w) for k, w in enumerate(widths)]
    sheet = flat(picture(polygons, [0.9] * 40, (23.0, 8.5), 30), 30)
    between = width.width_findings(Zone.OTHER, find_strokes(sheet))[1]
    spread = 1.4826 * np.median(np.abs(np.log(widths) - np.median(np.log(widths))))
    assert between.strokes >= 36
    assert between.value == pytest.approx(spread, rel=0.25)


def track(px_per_mm, rng, slant=0.0, place=0.0, length=0.0, ring=None, dot=None, covered=False):
    """Sixty ticks about (0, 0) with SDs slant (radians), place (radians) and length (mm), in a named zone map."""
    polygons, absorbed = [], []
    radius, half = 20.0, 0.5
    middle = 21.5
    for k in range(60):
        turn = k * ticks.DIVISION + place * rng.standard_normal()
        end = half + 0.5 * length * rng.standard_normal()
        out = np.array([np.sin(turn), -np.cos(turn)])
        tilt = turn + slant * rng.standard_normal()
        along = np.array([np.sin(tilt), -np.cos(tilt)])
        aside = 0.09 * np.array([along[1], -along[0]])
        centre = radius * out + middle
        polygons.append(np.array([centre + end * along + aside, centre + end * along - aside,
                                  centre - half * along - aside, centre - half * along + aside]))  # fmt: skip
        absorbed.append(0.9)
    light = picture(polygons, absorbed, (2 * middle, 2 * middle), px_per_mm, noise=0.004, rng=rng)
    x, y, r, _ = lattice()
    label = np.full(x.shape, ZONES.index(Zone.MINUTE_TRACK), np.int8)
    label[r < 0.8] = ZONES.index(Zone.NUMERALS)
    hands = (np.abs(x) < 0.25) & (y < 0) if covered else np.zeros(x.shape, bool)
    zones = ZoneMap(label, seen_under(hands), (0.84, 0.94), (0.6, 0.82), None, ())
    corner = (-middle / RADIUS_MM, -middle / RADIUS_MM)
    return flat(light, px_per_mm, zones=zones, corner=corner)


def test_ticks_in_place_and_out_of_it():
    true = {"slant": np.deg2rad(2.0), "place": np.deg2rad(0.25), "length": 0.06}
    sheet = track(24, np.random.default_rng(3), **true)
    strokes = find_strokes(sheet)
    found = {f.measure.name: f for f in ticks.tick_findings(sheet, Zone.MINUTE_TRACK, strokes, (0.0, 0.0))}
    assert found["spacing of ticks"].strokes >= 55
    # 60 values: the robust SD has a standard error of about 15 %
    assert found["slant of ticks"].value == pytest.approx(2.0, rel=0.45)
    assert found["spacing of ticks"].value == pytest.approx(0.25, rel=0.45)
    assert found["length of ticks"].value == pytest.approx(0.03, rel=0.5)  # half the SD lies at one end
    even = track(24, np.random.default_rng(3))
    sharp = {f.measure.name: f for f in ticks.tick_findings(even, Zone.MINUTE_TRACK, find_strokes(even), (0.0, 0.0))}
    assert sharp["slant of ticks"].value < 0.4
    assert sharp["spacing of ticks"].value < 0.03
    assert sharp["length of ticks"].value < 0.01
    assert sharp["weight of ticks"].value < 0.03


def test_a_centre_a_little_off_is_not_scatter():
    sheet = track(24, np.random.default_rng(3))
    strokes = find_strokes(sheet)
    for finding in ticks.tick_findings(sheet, Zone.MINUTE_TRACK, strokes, (0.004, -0.003))[:2]:
        assert finding.value < 0.4


def test_ticks_tell_their_centre():
    sheet = track(24, np.random.default_rng(3), slant=np.deg2rad(1.0))
    strokes = find_strokes(sheet)
    # 60 ticks with 1 degree of slant at 0.9 radii: 0.016 * sqrt(2 / 60)
    assert ticks.meeting_point(sheet, strokes, (0.02, -0.015)) == pytest.approx((0.0, 0.0), abs=0.006)
    assert ticks.meeting_point(sheet, strokes[:5], (0.02, -0.015)) == (0.02, -0.015)


def test_ticks_under_a_hand_are_left_out():
    sheet = track(24, np.random.default_rng(3), covered=True)
    found = {(f.zone, f.measure.name): f for f in measure_sheet(sheet)}
    place = found[Zone.MINUTE_TRACK, "spacing of ticks"]
    assert 48 <= place.strokes <= 57  # the hand covers a quarter of a radius either side of 12 o'clock
    assert place.value < 0.03


def test_a_circle_by_the_geometric_fit():
    points = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=float)
    fitted = fit_circle(points)
    # Gander, Golub, Strebel (example from memory, figures computed)
    assert fitted.centre == pytest.approx((4.73978, 2.98353), abs=1e-4)
    assert fitted.radius == pytest.approx(4.71423, abs=1e-4)
    with pytest.raises(ParameterError, match="N of 3 or more"):
        fit_circle(points[:2])


def test_iso_quantities():
    # R_p for Rmax 0.80 and Rmin 0.05
    levels = [edges.reflectance_at(0.80, 0.05, p) for p in (0.1, 0.4, 0.6, 0.9)]
    assert levels == pytest.approx([0.725, 0.500, 0.350, 0.125])
    # a Gaussian edge: 10 to 90 % over 2.5631 sigma
    at = np.arange(0.0, 40.0, 0.1)
    edge = ndtr((at - 20.0) / 3.0)[None, :]
    assert edges.blurriness(edge, 0.1)[0] == pytest.approx(2.5631 * 3.0, rel=1e-3)
    # a wide dark line read at 60 % is 0.5067 sigma too narrow, at 40 % too wide, at 50 % exact
    for level, off in ((0.6, 0.5067), (0.5, 0.0), (0.4, -0.5067)):
        half = edges.crossing(edge, edges.reflectance_at(1.0, 0.0, level), 0.1)[0] - 20.0
        assert 2 * half == pytest.approx(-off * 3.0, abs=5e-3)
    # a sine of amplitude A leaves A / sqrt 2
    wave = 3.0 + 0.02 * np.arange(4000) + 0.5 * np.sin(np.arange(4000) * 2 * np.pi / 80)
    assert edges.raggedness(wave) == pytest.approx(0.5 / math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize("px_per_mm", (30, 60, 120))
def test_raggedness_of_a_wavy_edge(px_per_mm):
    amplitude = 0.03
    at = np.linspace(0, 4.0, 400)
    bend = amplitude * np.sin(2 * np.pi * at / 0.5)
    left, right = np.stack([-0.35 + bend, at], 1), np.stack([0.35 + bend, at], 1)
    shape = np.concatenate([left, right[::-1]])
    polygons = [shape + np.array([1.0 + 1.6 * k, 0.5]) for k in range(6)]
    sheet = flat(picture(polygons, [0.9] * 6, (10.5, 5.0), px_per_mm), px_per_mm)
    found = {f.measure.name: f for f in edges.edge_findings(sheet, Zone.OTHER, find_strokes(sheet))}
    mm, unit = found["raggedness of edges"].in_unit(2 * RADIUS_MM)
    assert unit == MM and mm == pytest.approx(amplitude / math.sqrt(2), rel=0.12)
    assert found["sides of a stroke together"].value > 0.9
    assert found["softness of edges"].value == pytest.approx(1.0, abs=0.15)


def test_ends_square_and_round():
    square = [bar(1.0 + 1.4 * k, 0.6, 3.0, 0.6) for k in range(6)]
    turn = np.linspace(0, np.pi, 40)
    cap = 0.3 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    capsule = np.concatenate([cap + np.array([0, 2.7]), -cap + np.array([0, 0.3])])
    rounded = [capsule + np.array([1.0 + 1.4 * k, 0.6]) for k in range(6)]
    values = []
    for polygons in (square, rounded):
        sheet = flat(picture(polygons, [0.9] * 6, (10.0, 4.5), 60), 60)
        values.append(ends.end_findings(sheet, Zone.OTHER, find_strokes(sheet))[0])
    assert values[0].strokes == values[1].strokes == 6
    assert abs(values[0].value) < 0.01
    # a half circle, at 0.32 of the width aside: (1 - sqrt(1 - 0.64^2)) / 2
    assert values[1].value == pytest.approx(0.5 * (1 - math.sqrt(1 - 0.64**2)), abs=0.02)


@pytest.mark.parametrize("scatter", [0.0, 0.1])
def test_ends_off_the_guide_circle(scatter):
    """Stems whose outer ends lie on a circle about a point a little off the centre, or scatter about it."""
    rng = np.random.default_rng(8)
    middle, polygons = 21.5, []
    for k in range(40):
        turn = 2 * np.pi * k / 40 + 0.03
        out = np.array([np.sin(turn), -np.cos(turn)])
        outer = 18.0 + scatter * rng.standard_normal()
        start = outer * out + middle + [0.1, 0.05]
        polygons.append(bar(*start, 3.0, 0.5, np.arctan2(out[0], -out[1])))
    x, _, r, _ = lattice()
    zones = ZoneMap(
        np.full(x.shape, ZONES.index(Zone.NUMERALS), np.int8), seen_under(r < 0), None, (0.62, 0.84), None, ()
    )
    light = picture(polygons, [0.9] * 40, (2 * middle, 2 * middle), 24)
    sheet = flat(light, 24, zones=zones, corner=(-middle / RADIUS_MM, -middle / RADIUS_MM))
    outer, _ = ends.guide_findings(sheet)
    assert outer.strokes >= 36
    mm, _ = outer.in_unit(2 * RADIUS_MM)
    assert mm == pytest.approx(scatter, abs=0.03)


def test_rings_even_and_uneven():
    """A ring whose absorption goes up and down by a tenth four times a turn, and one that does not."""
    size, px_per_mm = 24.0, 24
    count = 360
    turn = np.linspace(0, 2 * np.pi, count + 1)
    values = []
    for change in (0.0, 0.1):
        polygons, absorbed = [], []
        for a, b in pairwise(turn):
            corners = [(r * np.sin(t), -r * np.cos(t)) for r, t in ((10.1, a), (10.1, b), (9.9, b), (9.9, a))]
            polygons.append(np.array(corners) + size / 2)
            absorbed.append(0.7 * (1 + change * np.sin(4 * a)))
        sheet = flat(picture(polygons, absorbed, (size, size), px_per_mm), px_per_mm,
                     corner=(-size / 2 / RADIUS_MM, -size / 2 / RADIUS_MM))  # fmt: skip
        found = rings.find_rings(sheet, (0.0, 0.0), (0.4, 0.5))
        assert len(found) == 1
        assert found[0].radius == pytest.approx(10.0 / RADIUS_MM, abs=0.002)
        assert np.median(found[0].width) / px_per_mm == pytest.approx(0.2, rel=0.05)
        values.append(rings.ring_findings(sheet, Zone.MINUTE_TRACK, (0.0, 0.0), (0.4, 0.5)))
    even, uneven = (found[0].value for found in values)
    share = 0.7 * (1 + 0.1 * np.sin(4 * turn))
    density = -np.log10(1 - share)
    truth = 1.4826 * np.median(np.abs(density - np.median(density))) / np.median(density)
    assert even < 0.02
    assert uneven == pytest.approx(truth, rel=0.2)


def test_dots_of_one_and_of_many_sizes():
    rng = np.random.default_rng(6)
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    values = []
    for scatter in (0.0, 0.15):
        sizes = 0.25 * np.exp(scatter * rng.standard_normal(24))
        polygons = [
            0.5 * s * np.stack([np.cos(turn), np.sin(turn)], 1) + [0.6 + 0.9 * (k % 8), 0.6 + 0.9 * (k // 8)]
            for k, s in enumerate(sizes)
        ]
        sheet = flat(picture([*polygons, bar(8.2, 0.4, 2, 0.6)], [0.94] * 25, (9.0, 3.2), 40), 40)
        size, _ = dots.dot_findings(sheet, Zone.OTHER)
        assert size.strokes == 24
        values.append(size.value)
    assert values[0] < 0.01
    assert values[1] == pytest.approx(1.4826 * np.median(np.abs(np.log(sizes) - np.median(np.log(sizes)))), rel=0.15)


def test_like_strokes_and_unlike_ones():
    rng = np.random.default_rng(5)
    alike = [bar(0.8 + 1.4 * k, 0.5 + 0.02 * (k % 3), 3.0, 0.4) for k in range(10)]
    unlike = [swelling(0.8 + 1.4 * k, 0.5, 3.0, 0.4, 0.25 * rng.uniform(-1, 1), rng.uniform(1, 3)) for k in range(10)]
    values = []
    for polygons in (alike, unlike):
        sheet = flat(picture(polygons, [0.9] * 10, (15.0, 4.2), 30), 30)
        values.append(likeness.likeness_findings(sheet, Zone.OTHER, find_strokes(sheet))[0])
    assert values[0].strokes == values[1].strokes == 10
    assert values[0].value < 0.06
    assert values[1].value > 2 * values[0].value


def test_differences_do_not_count_a_shift():
    at = np.arange(24.0)
    patch = np.exp(-0.5 * ((at[None, :] - 12) / 3.0) ** 2) * np.exp(-0.5 * ((at[:, None] - 12) / 5.0) ** 2)
    moved = [gaussian_filter1d(np.roll(patch, k, axis=1), 0.3, axis=1) for k in (0, 1, 0, -1, 0, 1)]
    assert likeness.differences(np.array(moved)).max() < 0.05
    assert likeness.differences(np.array([patch] * 5 + [0.5 * patch]))[-1] == pytest.approx(0.5, abs=0.02)


def test_too_few_strokes_give_no_value():
    light = picture([bar(1.0 + k, 0.5, 3.0, 0.3) for k in range(3)], [0.9] * 3, (5.0, 4.0), 30)
    findings = measure_sheet(flat(light, 30))
    assert findings and all(f.value is None for f in findings)
    assert max(f.strokes for f in findings) == 3


def test_lengths_change_unit_and_ratios_do_not():
    length = Finding(edges.RAGGED, Zone.NUMERALS, 0.002, 9)
    assert length.in_unit(None) == (0.002, RADII)
    assert length.in_unit(44.0) == pytest.approx((0.044, MM))
    ratio = Finding(tone.THIN_TO_THICK, Zone.NUMERALS, 0.7, 9)
    assert ratio.in_unit(44.0) == (0.7, "ratio")
    with pytest.raises(ParameterError, match="diameter_mm"):
        length.in_unit(0.0)


def test_thinning_keeps_what_is_joined_and_stays_in_the_middle():
    rng = np.random.default_rng(1)
    ink = gaussian_filter1d(gaussian_filter1d(rng.standard_normal((160, 160)), 3, axis=0), 3, axis=1) > 0.05
    line = thinned(ink)
    assert not (line & ~ink).any()
    other = skeletonize(ink)  # scikit-image's own version of the same algorithm takes a few more px off corners
    import cv2

    for mask in (line, other):
        assert cv2.connectedComponents(mask.astype(np.uint8))[0] == cv2.connectedComponents(ink.astype(np.uint8))[0]
    near = cv2.dilate(other.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    assert (line & near).sum() > 0.98 * line.sum()


def test_branches_end_at_junctions():
    line = np.zeros((40, 40), bool)
    line[20, 5:35] = True
    line[5:20, 20] = True
    found = branches(line)
    assert sorted(len(b.path) for b in found) == pytest.approx([13, 14, 14], abs=1)
    assert all(sum(b.free) == 1 for b in found)
