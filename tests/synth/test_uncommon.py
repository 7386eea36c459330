"""Designs that real dials have beside the common ones: what is there, how many of it, where, and clear of what."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from dialtell.synth.design.design import DialDesign, Variety, sample_design
from dialtell.synth.design.fitting import CLOCK_MM, clear_of_figures, inside_track, room_inside
from dialtell.synth.design.layout import EDGE_WORD, lay_out
from dialtell.synth.design.rings_of_figures import ring_of_figures
from dialtell.synth.design.uncommon import KINDS
from dialtell.synth.scene import DialSpec, Range, generator, render, sample_spec
from dialtell.synth.shared.terms import ZONES, Kind, Process, Zone
from dialtell.synth.strokes.stroke import Item
from dialtell.synth.truth import STROKES, label_masks, zone_cover

ALWAYS = Variety(uncommon=1.0)
DRAWN = 600


@cache
def drawn(count: int = DRAWN) -> tuple[DialDesign, ...]:
    return tuple(sample_design(rng=np.random.default_rng([31, index]), variety=ALWAYS) for index in range(count))


def having(name: str) -> list[DialDesign]:
    found = [design for design in drawn() if name in design.uncommon]
    assert found, name
    return found


def first_with(name: str, seed: int, scope: Range) -> DialSpec:
    """The first picture of a set whose design has that kind."""
    return next(
        sample_spec(seed, index, scope)
        for index in range(4000)
        if name in sample_design(rng=generator(seed, index), variety=ALWAYS).uncommon
    )


def words(items: list[Item]) -> dict[int, np.ndarray]:
    """Points at the edges of the strokes of each word, (N, 2) mm."""
    points: dict[int, list[np.ndarray]] = {}
    for item in items:
        for stroke in item.strokes:
            points.setdefault(item.word, []).append(stroke.path)
    return {word: np.concatenate(parts) for word, parts in points.items()}


def middles(points: dict[int, np.ndarray]) -> dict[int, np.ndarray]:
    """The middle of each word's box, (2,) mm."""
    return {word: 0.5 * (path.min(axis=0) + path.max(axis=0)) for word, path in points.items()}


def figures(design: DialDesign, zone: Zone, low: int, high: int) -> list[Item]:
    kinds = (Kind.TICK, Kind.RING, Kind.MARK)
    return [item for item in lay_out(design) if item.zone is zone and low <= item.word < high
            and item.strokes[0].kind not in kinds]  # fmt: skip


def test_the_share_is_as_asked_and_none_is_the_common_design() -> None:
    for share in (0.0, 0.3):
        variety = Variety(uncommon=share)
        some = [sample_design(rng=np.random.default_rng([5, index]), variety=variety) for index in range(1200)]
        found = np.mean([bool(design.uncommon) for design in some])
        assert abs(found - share) <= 3 * np.sqrt(share * (1 - share) / 1200)
    plain = DialDesign.__dataclass_fields__
    extras = ("further_tracks", "rings", "frames", "spiral", "edge", "ground", "uncommon")
    design = sample_design(rng=np.random.default_rng([5, 0]), variety=Variety(uncommon=0.0))
    assert all(getattr(design, name) == plain[name].default for name in extras)


def test_the_stream_of_the_design_is_left_as_without() -> None:
    """Whatever is drawn after the design (view, camera, hand) does not depend on whether it is uncommon."""
    for index in range(30):
        after = []
        for share in (0.0, 1.0):
            rng = np.random.default_rng([6, index])
            sample_design(rng=rng, variety=Variety(uncommon=share))
            after.append(rng.random())
        assert after[0] == after[1]


def test_every_kind_is_drawn() -> None:
    assert {name for design in drawn() for name in design.uncommon} == set(KINDS)


def test_minute_figures_are_sixty_in_their_places_and_do_not_touch() -> None:
    for design in having("minute figures"):
        found = words(figures(design, Zone.MINUTE_TRACK, 200, 260))
        assert sorted(found) == list(range(200, 260))
        boxes = np.array([[*path.min(axis=0), *path.max(axis=0)] for path in found.values()])
        for one, other in zip(boxes, np.roll(boxes, -1, axis=0), strict=True):
            apart = max(one[0] - other[2], other[0] - one[2], one[1] - other[3], other[1] - one[3])
            radial = design.rings[0].radial  # boxes of slanted figures overlap at the corners
            assert apart > 0.0 or radial, design.uncommon
        for word, (x, y) in middles(found).items():
            off = np.degrees(np.arctan2(x, -y)) - 6.0 * (word - 199)
            assert abs((off + 180) % 360 - 180) < 1.5


def test_radial_minute_figures_keep_their_distance_along_the_circle() -> None:
    for design in (design for design in having("minute figures") if design.rings[0].radial):
        found = list(words(figures(design, Zone.MINUTE_TRACK, 200, 260)).values())
        turns = [np.unwrap(np.arctan2(path[:, 0], -path[:, 1])) for path in found]
        for one, other in zip(turns, turns[1:] + turns[:1], strict=True):
            half = 0.5 * (np.ptp(one) + np.ptp(other))
            assert half < 2 * np.pi / 60


def test_stressed_fives_have_their_own_ink() -> None:
    coloured = [design for design in having("minute figures") if design.rings[0].stressed_ink]
    for design in coloured:
        items = figures(design, Zone.MINUTE_TRACK, 200, 260)
        inks = {item.word - 199: design.inks[item.ink] for item in items}
        assert {minute for minute, ink in inks.items() if ink in ("red", "blue")} >= set(range(5, 61, 5))


@pytest.mark.parametrize(("name", "count", "zone"), [("ten hours", 10, Zone.NUMERALS), ("calendar", 31, Zone.OTHER)])
def test_as_many_figures_as_the_time_has(name: str, count: int, zone: Zone) -> None:
    checked = 0
    for design in having(name):
        if name == "calendar" and (design.subdials or "six" in design.uncommon):
            continue
        low, high = (1, 25) if zone is Zone.NUMERALS else (200, 300)
        assert len(words(figures(design, zone, low, high))) == count
        checked += 1
    assert checked > 2


def test_a_decimal_track_has_a_hundred_divisions_and_ten_heavy_ones() -> None:
    for design in having("ten hours"):
        ticks = [item for item in lay_out(design) if item.zone is Zone.MINUTE_TRACK and item.group.startswith("track/")
                 and not item.group.startswith("ring")]  # fmt: skip
        assert len(ticks) == 100
        assert sum(item.group != "track/minor" for item in ticks) == 10


def test_second_hours_are_the_afternoon_and_belong_to_the_numerals() -> None:
    for design in having("second hours"):
        (ring,) = [ring for ring in design.rings if ring.zone is Zone.NUMERALS]
        assert set(ring.labels) <= {"", *(str(hour) for hour in range(13, 25))}
        for word, (x, y) in middles(words(figures(design, Zone.NUMERALS, 200, 212))).items():
            off = np.degrees(np.arctan2(x, -y)) - 30.0 * (word - 199)
            assert abs((off + 180) % 360 - 180) < 6.0


def test_a_cut_six_leaves_the_seconds_bit_alone() -> None:
    inside = 0
    for design in having("six"):
        assert design.chapter is not None
        x, y, reach = (design.radius_mm * value for value in vars(design.subdials[0]).values() if value is not None
                       and isinstance(value, float))  # fmt: skip
        numerals = [item for item in lay_out(design) if item.zone is Zone.NUMERALS]
        for item in numerals:
            away = np.concatenate([np.hypot(*(s.path - np.array([x, y])).T) for s in item.strokes]) / reach
            if design.chapter.cut == "inside" and away.min() < 1.0:
                inside += item.word in (6, 9)
                assert item.word in (6, 9) and away.max() < 0.9
            elif item.word < 100:
                assert away.min() > 1.0
        if design.chapter.cut == "inside" and "seconds at nine" not in design.uncommon:
            assert any(item.word == 6 for item in numerals)
    assert inside > 3


def test_beside_a_sub_dial_a_figure_keeps_most_of_itself_or_is_left_out() -> None:
    trimmed = 0
    for design in drawn():
        if design.chapter is None or design.chapter.cut != "trimmed" or not design.subdials:
            continue
        numerals = [
            item for item in lay_out(design) if item.zone is Zone.NUMERALS and item.word <= design.chapter.hours
        ]
        free = [item for item in lay_out(replace(design, subdials=())) if item.zone is Zone.NUMERALS]
        for word in {item.word for item in numerals}:
            kept, whole = (sum(np.hypot(*np.diff(stroke.path, axis=0).T).sum() for item in items if item.word == word
                               for stroke in item.strokes) for items in (numerals, free))  # fmt: skip
            assert kept > 0.59 * whole
            trimmed += kept < 0.99 * whole
    assert trimmed > 10


def test_iv_stands_for_iiii_where_it_is_asked_for() -> None:
    for design in having("four"):
        if design.chapter is not None and design.chapter.bent:
            names = {
                item.group.split("/")[1] for item in lay_out(design) if item.zone is Zone.NUMERALS and item.word < 99
            }
            assert "IV" in names and "IIII" not in names


def test_no_stroke_but_the_hands_lies_on_what_is_no_enamel() -> None:
    for name in ("centre", "winding holes"):
        for design in having(name):
            ground, radius = design.ground, design.radius_mm
            places = [(x, y, 1.3 * size) for x, y, size in ground.holes]
            if ground.centre_reach and ground.centre != "enamel":
                places.append((0.0, ground.centre_y, ground.centre_reach))
            for item in lay_out(design):
                for stroke in item.strokes:
                    for x, y, size in places:
                        away = np.hypot(*(stroke.path / radius - np.array([x, y])).T)
                        assert away.min() > size, (design.uncommon, item.group)
                    if ground.centre_reach:  # nor on the ring about a centre of enamel
                        away = np.hypot(*(stroke.path / radius - np.array([0.0, ground.centre_y])).T)
                        inner, outer = ground.centre_reach, ground.centre_reach + ground.collar
                        assert not ((away > inner) & (away < outer)).any(), (design.uncommon, item.group)


def test_plaques_hold_their_figures() -> None:
    for design in having("cartouches"):
        chapter, ground = design.chapter, design.ground
        assert chapter is not None
        frame = design.frames or ground
        at, wide, high = ((frame.at, frame.wide, frame.high) if design.frames is not None
                          else (ground.plaque_at, ground.plaque_wide, ground.plaque_high))  # fmt: skip
        assert at + high < inside_track(design)
        for word, path in words([item for item in lay_out(design) if item.zone is Zone.NUMERALS
                                 and item.group != "frame" and item.word < 100]).items():  # fmt: skip
            angle = 2 * np.pi * word / 12
            across = path @ np.array([np.cos(angle), np.sin(angle)]) / design.radius_mm / wide
            up = (path @ np.array([np.sin(angle), -np.cos(angle)]) / design.radius_mm - at) / high
            assert np.hypot(across, up).max() < 1.02, (design.uncommon, word)


def test_bars_are_sixty_on_a_clock_and_the_hours_the_longer_or_broader() -> None:
    for design in having("bars"):
        assert design.radius_mm > CLOCK_MM
        ticks = [item.strokes[0] for item in lay_out(design) if item.group.startswith("track/")]
        assert len(ticks) == 60
        numerals = [item for item in lay_out(design) if item.zone is Zone.NUMERALS and item.group.startswith("track/")]
        assert len({item.word for item in numerals}) == len(numerals) == (12 if design.chapter is None else 0)
        widths = np.array([stroke.nominal for stroke in ticks])
        assert widths[::5].min() > 1.5 * np.delete(widths, np.arange(0, 60, 5)).max()
        outer = [np.hypot(*stroke.path.T).max() for stroke in ticks]
        np.testing.assert_allclose(outer, outer[0], rtol=1e-6)


def test_a_regulator_has_its_hours_on_a_dial_of_their_own() -> None:
    for design in having("regulator"):
        assert design.chapter is None and len(design.subdials) == 2
        assert design.subdials[0].track.figures_start == 60
        assert design.subdials[1].track.figures_start in (12, 24)
    assert first_with("regulator", 41, Range(variety=ALWAYS)).hands.hour_mm == 0.0


def test_a_spiral_winds_inward() -> None:
    for design in having("spiral"):
        assert design.spiral is not None
        turns = [item for item in lay_out(design) if item.group == "spiral"]
        ends = [(np.hypot(*item.strokes[0].path[0]), np.hypot(*item.strokes[0].path[-1])) for item in turns]
        assert len(ends) == design.spiral.turns
        for (first, last), (following, _) in zip(ends, [*ends[1:], (ends[-1][1], 0.0)], strict=True):
            assert first > last == pytest.approx(following)


def test_lettering_at_the_rim_is_small_outermost_and_reads_from_left_to_right() -> None:
    checked = 0
    for design in having("lettering"):
        letters = [item for item in lay_out(design) if item.zone is Zone.OTHER and item.word >= EDGE_WORD]
        if not letters:
            continue
        checked += 1
        reach = [np.hypot(*stroke.path.T) for item in letters for stroke in item.strokes]
        assert min(path.min() for path in reach) > inside_track(design) * design.radius_mm
        assert max(item.height for item in letters) < 0.03 * design.radius_mm
        x = np.array([item.anchor[0] for item in letters])
        assert np.all(np.diff(x) > 0) and all(item.anchor[1] > 0 for item in letters)
    assert checked > 5


def test_hour_figures_keep_clear_of_each_other_and_of_the_track() -> None:
    for design in drawn()[:200]:
        chapter = design.chapter
        if chapter is None:
            continue
        found = words([item for item in lay_out(design) if item.zone is Zone.NUMERALS and item.word <= chapter.hours
                       and item.group != "frame"])  # fmt: skip
        reach = max(np.hypot(*path.T).max() for path in found.values()) / design.radius_mm
        assert reach < inside_track(design) + 0.006
        if chapter.bent:
            turn = {word: np.unwrap(np.arctan2(path[:, 0], -path[:, 1])) for word, path in found.items()}
            for word in found:
                other = word % chapter.hours + 1
                if other in found:
                    assert 0.5 * (np.ptp(turn[word]) + np.ptp(turn[other])) < 1.12 * 2 * np.pi / chapter.hours


def test_small_figures_inside_the_hours_do_not_reach_them() -> None:
    checked = 0
    for design in drawn():
        if design.chapter is None or not set(design.uncommon) & {"second hours", "calendar", "spiral"}:
            continue
        inside = [ring for ring in design.rings if ring.at < design.chapter.outer]
        for ring in inside:
            found = words(ring_of_figures(ring, design.radius_mm))
            reach = max(np.hypot(*path.T).max() for path in found.values()) / design.radius_mm
            assert reach < room_inside(design) + 0.004, design.uncommon
        checked += bool(inside)
    assert checked > 20


def test_a_step_cuts_no_figures() -> None:
    scope = Range(variety=ALWAYS)
    for index in range(60):
        spec = sample_spec(42, index, scope)
        radius = spec.body.centre_radius_mm
        if radius > 0.0:
            assert radius <= max(clear_of_figures(spec.design), spec.design.ground.step) * spec.design.radius_mm + 1e-9


@pytest.mark.parametrize("name", list(KINDS))
def test_every_kind_renders_in_all_processes_which_share_the_layout(name: str) -> None:
    scope = Range(variety=ALWAYS, max_side=240, pixels_per_radius=(90.0, 110.0))
    spec = first_with(name, 43, scope)
    pictures = {process: render(spec.as_process(process)) for process in Process}
    assert all(picture.std() > 1.0 for picture in pictures.values())
    twin = spec.as_process(Process.HAND)
    for process in Process:
        other = spec.as_process(process)
        assert other.design == twin.design and other.body == twin.body and other.hands == twin.hands
        assert replace(other, making=twin.making) == twin


def test_the_strokes_of_each_zone_lie_in_its_outlines() -> None:
    scope = Range(variety=ALWAYS, max_side=420, pixels_per_radius=(150.0, 180.0))
    inside, total = np.zeros(len(ZONES)), np.zeros(len(ZONES))
    for index in range(20):
        spec = sample_spec(44, index, scope)
        for number, zone in enumerate(ZONES):
            strokes = label_masks(spec, zone)[STROKES]
            if strokes.sum() > 0:
                share = np.minimum(strokes, zone_cover(spec, zone)).sum()
                assert share > 0.8 * strokes.sum(), (index, zone, spec.design.uncommon)
                inside[number], total[number] = inside[number] + share, total[number] + strokes.sum()
    assert (inside / total > 0.97).all(), inside / total
