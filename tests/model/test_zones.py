"""Zones from what is seen in every pixel: of maps drawn by hand, of drawn dials whose labels are known, and as read.

The last rests on how well the reader is trained: floors are those of the finder before it, less a margin.
"""

from __future__ import annotations

import numpy as np
import pytest
from drawn_dial import draw, photographed, scene
from rendered_readings import rendered
from seen_maps import SECONDS, drawn_seen, look_of, seen_under

from dialtell.model.reader.net import SIDE, SQUARE
from dialtell.model.reading.divisions import Divisions
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import Known, MarkedPlace, Outline
from dialtell.model.reading.patches import INK, cut_patches
from dialtell.model.reading.steps import read, read_at
from dialtell.model.reading.zones import (
    EXTENT,
    MAP_SCALE,
    NEAR,
    Circle,
    ZoneMap,
    find_zones,
    lattice,
    marked,
    sub_dial,
    turned_up,
    unnamed_zones,
)
from dialtell.synth.faces.face import draw_face
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.terms import INK_SEEN, SEEN, ZONES, Process, Seen, Zone

DIALS = range(22)


@pytest.fixture(scope="module")
def ideal():
    return find_zones(look_of(drawn_seen()), 0.0, None)


def test_bands_and_the_seconds_circle(ideal):
    assert ideal.track == pytest.approx((0.868, 0.952), abs=0.012)
    assert ideal.numerals == pytest.approx((0.588, 0.812), abs=0.015)
    assert (ideal.seconds.x, ideal.seconds.y) == pytest.approx(SECONDS[:2], abs=0.012)
    assert ideal.seconds.radius == pytest.approx(SECONDS[2] + 0.02, abs=0.012) and ideal.seconds.strength > 0.9
    assert not ideal.counters and ideal.found == frozenset(ZONES) - {Zone.OTHER} and ideal.named


def test_labels(ideal):
    places = np.array([[0.03, -0.905], [0.7, -0.07], [0.0, 0.5], [0.1, 0.65], [0.0, -0.35], [-0.3, 0.0], [0.0, -0.98]])
    read = ideal.at(places)
    assert [ZONES[i] for i in read[:5]] == [
        Zone.MINUTE_TRACK, Zone.NUMERALS, Zone.SECONDS_BIT, Zone.SECONDS_BIT, Zone.SIGNATURE
    ]  # fmt: skip
    assert read[5] == -1  # bare enamel far from any ink
    assert ideal.at(np.array([[5.0, 0.0], [0.0, -5.0]])).tolist() == [-1, -1]


def test_a_label_lies_near_its_ink_only(ideal):
    import cv2

    x, y, _, _ = lattice()
    outside = np.hypot(x - ideal.seconds.x, y - ideal.seconds.y) >= ideal.seconds.radius
    for zone in (Zone.MINUTE_TRACK, Zone.NUMERALS, Zone.SIGNATURE):
        ink = ideal.seen == SEEN.index(INK_SEEN[zone])
        away = cv2.distanceTransform((~ink).astype(np.uint8), cv2.DIST_L2, 5) / MAP_SCALE
        here = (ideal.label == ZONES.index(zone)) & outside
        assert here.any() and away[here].max() < 1.1 * NEAR
        assert (ideal.label[ink & outside] == ZONES.index(zone)).mean() > 0.99


@pytest.mark.parametrize("degrees", [33.0, -75.0, 180.0])
def test_labels_move_with_the_rotation(ideal, degrees):
    turned = find_zones(look_of(drawn_seen(np.radians(degrees))), np.radians(degrees), None)
    assert (turned.label == ideal.label).mean() > 0.97
    assert (turned.seconds.x, turned.seconds.y) == pytest.approx((ideal.seconds.x, ideal.seconds.y), abs=0.012)
    upright = turned_up(drawn_seen(np.radians(degrees)), np.radians(degrees))
    assert (upright == turned_up(drawn_seen(), 0.0)).mean() > 0.96


def test_divisions_widen_a_track_and_make_none():
    seen = drawn_seen()
    beside = find_zones(look_of(seen), 0.0, Divisions(0.5, 0.0, 0.96, 60))
    assert beside.track[1] >= 0.972 and beside.track[0] == pytest.approx(0.868, abs=0.012)
    far = find_zones(look_of(seen), 0.0, Divisions(0.5, 0.0, 0.75, 60))
    assert far.track == pytest.approx((0.868, 0.952), abs=0.012)
    seen[seen == SEEN.index(Seen.MINUTE_TRACK)] = SEEN.index(Seen.ENAMEL)
    bare = find_zones(look_of(seen), 0.0, Divisions(0.5, 0.0, 0.91, 60))
    assert bare.track is None and Zone.MINUTE_TRACK not in bare.found


def test_a_bare_dial_has_no_zones():
    seen = drawn_seen()
    seen[seen > 0] = SEEN.index(Seen.ENAMEL)
    bare = find_zones(look_of(seen), 0.0, None)
    assert bare.track is None and bare.seconds is None and not bare.counters and not bare.found
    assert 0.3 < bare.numerals[0] < bare.numerals[1] < 1.0 and (bare.label == -1).all()
    assert all(bare.polygon(zone).shape == (0, 2) for zone in ZONES)


def test_a_few_pixels_are_chance():
    seen = drawn_seen()
    seen[seen > 0] = SEEN.index(Seen.ENAMEL)
    seen[180:183, 100:104] = SEEN.index(Seen.SIGNATURE)
    seen[40:46, 190:196] = SEEN.index(Seen.MINUTE_TRACK)  # a blot is no track
    found = find_zones(look_of(seen), 0.0, None)
    assert not found.found and (found.label == -1).all()


def test_what_is_outside_the_frame_is_no_ink_and_no_gap():
    """A dial cut off above its seconds bit keeps its rings, and has no seconds bit."""
    seen = drawn_seen()
    seen[round(SIDE / 2 + 0.25 * SQUARE) :] = SEEN.index(Seen.NOT_DIAL)
    top = find_zones(look_of(seen), 0.0, None)
    assert top.seconds is None and top.numerals == pytest.approx((0.588, 0.812), abs=0.02)
    assert top.track == pytest.approx((0.868, 0.952), abs=0.012) and top.hidden.any()


def test_a_seconds_bit_hidden_in_part_and_one_that_is_none(ideal):
    x, y, _, _ = lattice()
    ink = ideal.seen == SEEN.index(Seen.SECONDS_BIT)
    half = ink & (x < 0.08)  # a hand lies over the rest
    found = sub_dial(half)
    assert found is None or abs(found.y - 0.5) < 0.02
    assert sub_dial(ink & (y < 0.45)) is None  # an arc
    far = ink.copy()
    far[100:104, 100:104] = True
    assert sub_dial(far) == sub_dial(ink)


def test_outlines(ideal):
    ring = np.hypot(*ideal.polygon(Zone.MINUTE_TRACK, 36).T)
    assert np.allclose(ring[:36], ideal.track[1]) and np.allclose(ring[36:], ideal.track[0])
    circle = ideal.polygon(Zone.SECONDS_BIT) - [ideal.seconds.x, ideal.seconds.y]
    assert np.allclose(np.hypot(*circle.T), ideal.seconds.radius)
    lettering = ideal.polygon(Zone.SIGNATURE)  # drawn round its ink, with no margin
    assert np.abs(lettering.min(axis=0) - [-0.2, -0.38]).max() < 0.015
    assert np.abs(lettering.max(axis=0) - [0.1875, -0.32]).max() < 0.015  # its last letter ends there
    assert ideal.polygon(Zone.OTHER).shape == (0, 2)


def test_hidden_places_and_edges():
    side = round(2 * EXTENT * MAP_SCALE)
    left = np.zeros((side, side), bool)
    left[:, : side // 2] = True
    points = np.array([[[-0.5, 0.0], [-0.2, 0.1]], [[-0.5, 0.0], [0.5, 0.0]], [[0.5, 0.3], [0.2, 0.1]]])

    def under(what):
        label = np.zeros((side, side), np.int8)
        return ZoneMap(label, seen_under(left, what), None, (0.6, 0.85), Circle(0.0, 0.5, 0.2, 1.0), ())

    hand, glare, step = under(Seen.HAND), under(Seen.GLARE), under(Seen.STEP)
    assert hand.share(hand.hidden, points).tolist() == [1.0, 0.5, 0.0] and hand.hands[0, 0]
    assert glare.hidden[0, 0] and not glare.hands.any() and not glare.edges.any()
    assert step.edges[0, 0] and not step.hidden.any()
    assert hand.share(hand.hidden, np.empty((0, 8, 8, 2))).shape == (0,)


def test_unnamed():
    zones = unnamed_zones()
    assert not zones.named and zones.found == {Zone.OTHER} and not zones.hidden.any()
    assert (zones.label == ZONES.index(Zone.OTHER)).all() and len(zones.polygon(Zone.OTHER)) == 4


def test_patches_are_cut_where_ink_is_and_never_on_hands():
    drawn = scene(700, blur=0.8, hands=True)
    reading = read_at(photographed(draw(drawn, np.random.default_rng(0))), drawn.dial, 0.0)
    zones = find_zones(look_of(drawn_seen()), 0.0, reading.divisions)  # hands where this map has them
    patches = cut_patches(reading.density, drawn.dial, zones, 0.0, 600.0)
    assert len(patches) > 60 and (patches.ink > 0.01).all()
    assert (zones.at(patches.center) == patches.zone).all() and (patches.zone >= 0).all()
    cell = np.floor((patches.center + EXTENT) * MAP_SCALE).astype(int)
    assert not zones.hands[cell[:, 1], cell[:, 0]].any()
    assert ((patches.density * patches.full > INK).mean(axis=(1, 2)) > 0.005).all()


# --- dials of the renderer, whose labels are the truth ---

SCOPE = Range(wear=(0.0, 0.3), hands_off=0.3)


@pytest.fixture(scope="module")
def truths():
    """(design, zones) of drawn dials, from their own labels put where a square look has them."""
    found = []
    for index in range(24):
        spec = sample_spec(4712, index, SCOPE, Process.HAND)
        seen = np.zeros((SIDE, SIDE), np.uint8)
        inner = slice(SIDE // 2 - int(SQUARE), SIDE // 2 + int(SQUARE))
        seen[inner, inner] = draw_face(spec, int(SQUARE)).seen
        found.append((spec.design, find_zones(look_of(seen), 0.0, None)))
    return found


def test_true_labels_give_the_design_back(truths):
    tracks, figures, seconds, false = [], [], [], 0
    for design, zones in truths:
        band = zones.track
        if design.track is not None:
            tracks.append(band is not None and band[0] < 0.5 * (design.track.inner + design.track.outer) < band[1])
        if design.chapter is not None:
            inner, outer = zones.numerals
            both = min(outer, design.chapter.outer) - max(inner, design.chapter.outer - design.chapter.height)
            figures.append(both / design.chapter.height)
        if design.subdials:
            own = design.subdials[0]
            circle = zones.seconds
            seconds.append(circle is not None and np.hypot(circle.x - own.x, circle.y - own.y) < 0.03)
        else:
            false += zones.seconds is not None
    assert np.mean(tracks) >= 0.9 and len(tracks) >= 16
    assert np.median(figures) >= 0.97 and np.quantile(figures, 0.1) >= 0.6
    assert np.mean(seconds) >= 0.85 and len(seconds) >= 8 and false == 0


# --- drawn dials as the shipped reader sees them ---


@pytest.fixture(scope="module")
def dials():
    return [rendered(index) for index in DIALS]


def test_track_band_holds_the_track(dials):
    held = []
    for dial in dials:
        track, band = dial.spec.design.track, dial.reading.zones.track
        held.append(band is not None and band[0] < 0.5 * (track.inner + track.outer) < band[1])
    assert np.mean(held) >= 0.85


def test_numerals_band_covers_the_figures(dials):
    shares = []
    for dial in dials:
        chapter = dial.spec.design.chapter
        if chapter is None:
            continue
        inner, outer = dial.reading.zones.numerals
        both = min(outer, chapter.outer) - max(inner, chapter.outer - chapter.height)
        shares.append(both / chapter.height)
    assert np.median(shares) >= 0.95


def test_seconds_bit_is_found_where_it_is(dials):
    found = []
    for dial in dials:
        design, seconds = dial.spec.design, dial.reading.zones.seconds
        if not design.subdials:
            assert seconds is None
            continue
        found.append(seconds is not None and abs(seconds.y - design.subdials[0].y) <= 0.03)
    assert np.mean(found) >= 0.6 and len(found) >= 12


def test_strokes_lie_in_their_zone(dials):
    table = sum(dial.confusion() for dial in dials)
    share = np.diag(table[:, 1:]) / np.maximum(table.sum(axis=1), 1)
    assert np.trace(table[:, 1:]) / table.sum() >= 0.88
    for zone, floor in ((Zone.SIGNATURE, 0.8), (Zone.NUMERALS, 0.9), (Zone.MINUTE_TRACK, 0.85)):
        assert share[ZONES.index(zone)] >= floor


# --- what a person marked ---


def square(x, y, half, geometry):
    """Corners in px of a photograph of a square about a place on the dial, radii."""
    corners = np.array([[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]])
    return tuple(map(tuple, geometry.to_photo(corners)))


TILTED = DialGeometry((400.0, 300.0), (250.0, 230.0), 0.4, 0.7)  # so that px, slope and turn all matter


def test_a_marked_place_is_hidden_just_there(ideal):
    for what, seen in (("hand", Seen.HAND), ("reflection", Seen.GLARE), ("stain", Seen.OVERLAY)):
        place = MarkedPlace(what, square(0.2, 0.3, 0.1, TILTED))
        found = marked(ideal, TILTED, [place])
        x, y, _, _ = lattice()
        inside = (np.abs(x - 0.2) < 0.1) & (np.abs(y - 0.3) < 0.1)
        changed = found.seen != ideal.seen
        rim = 0.05 * np.count_nonzero(inside)  # cells half inside
        assert (found.seen[changed] == SEEN.index(seen)).all() and np.count_nonzero(changed & ~inside) < rim
        assert np.count_nonzero(inside & (found.seen != SEEN.index(seen))) < rim
        assert (found.label == ideal.label).all() and found.found == ideal.found
    assert marked(ideal, TILTED, []).seen is not ideal.seen  # never its own arrays written to


def test_a_named_zone_takes_its_ink_and_leaves_hands(ideal):
    place = MarkedPlace("other", square(0.0, -0.35, 0.25, TILTED))  # about the signature, and part of the hand
    found = marked(ideal, TILTED, [place])
    assert ZONES[int(found.at(np.array([0.0, -0.35])))] is Zone.OTHER and Zone.OTHER in found.found
    assert np.count_nonzero(found.seen == SEEN.index(INK_SEEN[Zone.SIGNATURE])) == 0
    assert (found.hands == ideal.hands).all()
    assert len(found.polygon(Zone.OTHER)) > 2
    # later marks lie over earlier ones
    both = marked(ideal, TILTED, [place, MarkedPlace("label", place.polygon)])
    assert both.hidden.sum() > found.hidden.sum() + 0.2 * (240 * 0.4) ** 2


def test_zones_that_were_not_found_have_their_place_from_the_mark():
    bare = find_zones(look_of(np.where(drawn_seen() == 0, 0, SEEN.index(Seen.ENAMEL)).astype(np.uint8)), 0.0, None)
    assert not bare.found
    found = marked(
        bare, TILTED,
        [MarkedPlace("seconds bit", square(0.1, 0.45, 0.2, TILTED)),
         MarkedPlace("minute track", square(0.0, -0.9, 0.05, TILTED))],
    )  # fmt: skip
    assert (found.seconds.x, found.seconds.y) == pytest.approx((0.1, 0.45), abs=0.01)
    assert found.seconds.radius == pytest.approx(0.4 / np.sqrt(np.pi), abs=0.01)
    assert found.track == pytest.approx((0.85, 0.951), abs=0.01)
    assert found.found == {Zone.SECONDS_BIT, Zone.MINUTE_TRACK}


def test_where_the_part_is_not_known_no_zone_can_be_named():
    blank = unnamed_zones()
    places = [MarkedPlace("signature", square(0.0, 0.0, 0.2, TILTED))]
    found = marked(blank, TILTED, places)
    assert (found.label == blank.label).all() and found.found == blank.found
    assert marked(blank, TILTED, [places[0]._replace(what="hand")]).hidden.any()


def test_patches_in_a_marked_place_are_left_out_and_others_stay_the_same():
    photo = photographed(draw(scene(900.0), np.random.default_rng(3)))
    outline = Outline(*scene(900.0).dial.center_px, 450.0, 450.0, 0.0)
    plain = read(photo, Known(outline=outline))[0]
    corners = plain.geometry.to_photo(np.array([[0.3, -1.0], [1.0, -1.0], [1.0, 0.3], [0.3, 0.3]]))
    place = MarkedPlace("stain", tuple(map(tuple, corners)))
    read_anew = read(photo, Known(outline=outline, places=(place,)))[0]
    inside = (np.abs(plain.patches.center - (0.65, -0.35)) < (0.35, 0.65)).all(axis=1)
    kept = {tuple(np.round(center, 6)) for center in read_anew.patches.center}
    assert inside.sum() > 10 and not any(tuple(np.round(c, 6)) in kept for c in plain.patches.center[inside])
    far = (np.abs(plain.patches.center - (0.65, -0.35)) > (0.43, 0.73)).any(axis=1)
    assert all(tuple(np.round(c, 6)) in kept for c in plain.patches.center[far])
    named = read(photo, Known(outline=outline, places=(place._replace(what="other"),)))[0]
    there = (np.abs(named.patches.center - (0.65, -0.35)) < (0.34, 0.64)).all(axis=1)
    assert set(named.patches.zone[there]) == {ZONES.index(Zone.OTHER)}
