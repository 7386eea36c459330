"""Hints of style follow the design, whatever laid it down, and reach neither the net nor the odds."""

import re
from dataclasses import replace

import numpy as np
import pytest
from checkout import ROOT
from drawn_dial import photographed
from trials.opinions.style_rates import Rate, rates, truth

from dialtell.evaluate.period import style_hints as hints
from dialtell.evaluate.period.style_seen import leaning, oblique, outer_ring
from dialtell.model.reading.steps import read_at
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.scene import Range, radiance, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import known_geometry

SCOPE = Range(pixels_per_radius=(300.0, 320.0), tilt=4.0, wear=(0.0, 0.2), hands_off=1.0)


def read(spec):
    geometry = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
    return read_at(photographed(radiance(spec)), geometry, geometry.twelve_deg)


def standard():
    """A dial with Roman figures, one line of upright capitals, a seconds bit, both rings and plain ticks; no sunk
    centre, whose step the line that is written here might cross, as no dial's does."""
    for index in range(200):
        spec = sample_spec(88_001, index, SCOPE, Process.HAND)
        design = spec.design
        stepped = spec.body.sunk == "double" or design.centre_ring
        if design.seconds_bit and design.chapter.hours == 12 and len(design.signature) == 1 and not stepped:
            track = replace(design.track, rings=(True, True), mark="tick", short=1.0, blocked=False, halves="nothing",
                            figures_every=0, ring_mm=0.12, tick_mm=0.15, heavy_mm=0.3)  # fmt: skip
            form = letterform("roman-heavy")
            chapter = replace(design.chapter, letterform="roman-heavy", radial=True, turned=False, bent=True,
                              outer=track.inner - 0.02, height=0.2, thick=form.thick, thin=form.thin)  # fmt: skip
            line = replace(design.signature[0], letterform="serif-capitals", arc=0.0, text="BRADLIN HOLMWERK",
                           height=0.062)  # fmt: skip
            return replace(spec, design=replace(design, track=track, chapter=chapter, signature=(line,)))
    raise AssertionError("no such dial among 200")


def other(spec):
    """The same dial with an inner ring alone, Arabic figures and a line of script."""
    design = spec.design
    chapter = replace(design.chapter, letterform="arabic-round", radial=False, bent=False)
    line = replace(design.signature[0], letterform="round-script", text="Bradlin Holmwerk", tracking=0.0)
    track = replace(design.track, rings=(True, False))
    return replace(spec, design=replace(design, track=track, chapter=chapter, signature=(line,)))


@pytest.fixture(scope="module")
def plain():
    return standard()


@pytest.fixture(scope="module")
def readings(plain):
    """(painted, printed, other) of one dial."""
    return read(plain), read(plain.as_process(Process.TRANSFER)), read(other(plain))


def said(reading):
    return {hint.feature: hint for hint in hints.style_hints(reading)}


def test_hints_say_what_is_on_the_dial(plain, readings):
    painted, printed, changed = readings
    for reading, spec in [(painted, plain), (printed, plain), (changed, other(plain))]:
        known = truth(spec.design)
        for feature, hint in said(reading).items():
            assert hint.seen in (known[feature], hints.NOT_TOLD), (feature, hint)
    assert said(painted)[hints.OUTER_RING].seen == hints.PRESENT
    assert said(painted)[hints.FIGURES].seen == hints.ROMAN
    assert said(changed)[hints.OUTER_RING].seen == hints.ABSENT
    assert said(changed)[hints.FIGURES].seen == hints.ARABIC
    assert said(changed)[hints.LETTERING].seen == hints.SLANTING


def test_the_process_does_not_change_what_is_said(readings):
    painted, printed, _ = readings
    assert {k: h.seen for k, h in said(painted).items()} == {k: h.seen for k, h in said(printed).items()}


def test_each_measure_moves_far_with_its_own_feature(readings):
    painted, _, changed = readings
    assert outer_ring(painted).value > 4 * outer_ring(changed).value
    assert oblique(changed).value > 2 * oblique(painted).value
    assert leaning(changed).value > leaning(painted).value + 0.3


def test_what_cannot_be_measured_is_not_told(readings):
    painted = readings[0]
    coarse = replace(painted, sharpness=replace(painted.sharpness, true_pixels_per_radius=40.0))
    assert outer_ring(coarse).value is None and said(coarse)[hints.OUTER_RING].seen == hints.NOT_TOLD
    lost = said(replace(painted, twelve=None, divisions=None))
    assert {lost[f].seen for f in (hints.OUTER_RING, hints.FIGURES, hints.LETTERING)} == {hints.NOT_TOLD}
    bare = said(replace(painted, density=np.zeros_like(painted.density)))
    assert {bare[f].seen for f in (hints.OUTER_RING, hints.FIGURES, hints.LETTERING)} == {hints.NOT_TOLD}
    for hint in lost.values():
        assert hint.why and (hint.period == "" or hint.seen != hints.NOT_TOLD)


def test_no_seconds_bit_found_is_no_proof(readings):
    painted = readings[0]
    without = replace(painted, zones=replace(painted.zones, seconds=None))
    assert said(without)[hints.SECONDS_BIT].seen == hints.NOT_TOLD


def test_a_small_dial_is_said_to_be_where_it_is(readings):
    painted = readings[0]
    assert "at 6 o'clock" in said(painted)[hints.SECONDS_BIT].why
    beside = replace(painted.zones, seconds=replace(painted.zones.seconds, x=-0.45, y=0.02))
    assert "at 9 o'clock" in said(replace(painted, zones=beside))[hints.SECONDS_BIT].why


def test_a_record_says_where_a_period_is_from(readings):
    for hint in hints.style_hints(readings[2]):
        assert set(hint.record) == {"feature", "seen", "period", "why", "basis"}
        assert hint.record["basis"] == "common practice"
        assert hint.record["period"] is None or "18" in hint.record["period"]


def test_only_the_page_is_told_of_style():
    """Neither what judges nor what trains may read a hint; the dial drawn beside a photograph takes its style."""
    root = ROOT
    users = set()
    for part in ("synth", "model", "train", "evaluate"):
        for file in (root / part).rglob("*.py"):
            if re.search(r"^\s*(from|import) .*\bstyle_(hints|seen)\b", file.read_text(encoding="utf-8"), re.MULTILINE):
                users.add(file.relative_to(root).as_posix())
    inspection = {f"evaluate/inspection/{name}.py" for name in ("examine", "page", "reference_dial")}
    assert users <= inspection | {"evaluate/period/style_hints.py"}


def test_rates_count_only_what_was_said():
    rows = [("figures", "Roman", "Roman")] * 8 + [("figures", "Roman", "Arabic"), ("figures", "not told", "Roman")]
    (rate,) = rates(rows)
    assert (rate.told, rate.right) == (9, 8) and not rate.reliable  # one in nine is more than one in ten
    assert rate.interval == pytest.approx((0.5650, 0.9801), abs=1e-4)  # Wilson 8/9, computed from its formula
    assert Rate("figures", "Roman", 10, 9, (0, 1)).reliable
