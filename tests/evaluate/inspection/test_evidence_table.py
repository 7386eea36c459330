"""The evidence as a page shows it: tables, strip plots, the strokes over the photograph."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from dialtell.evaluate.inspection.evidence_table import evidence_table, nothing_measured
from dialtell.evaluate.inspection.strip_plot import strip_plot
from dialtell.evaluate.inspection.stroke_layer import StrokeLayer, ranges, simplified
from dialtell.evaluate.measurements.evidence import MeasuredEvidence, MeasurementRow, ZoneFacts
from dialtell.evaluate.measurements.glossary import GLOSSARY
from dialtell.evaluate.measurements.spread import Band
from dialtell.synth.shared.terms import ZONES, Zone

LOW, HIGH = np.linspace(0.4, 0.8, 17), np.linspace(0.6, 1.0, 17)
BAND = Band(LOW, HIGH, 30, 28)


def says(value):
    return f"{value:.2f} mm"


def plot(painted, printed, value, log=False):
    markup = strip_plot(painted, printed, value, log=log, says=says, ends=says, counts=(30, 28))
    return ET.fromstring(str(markup))


def shape(tree, kind):
    return next(e for e in tree.iter() if e.get("class") == kind)


@pytest.mark.parametrize("log", [False, True])
@pytest.mark.parametrize("value", [0.45, 0.7, 0.95, 0.05, 3.0])
def test_marker_lies_where_the_value_does(value, log):
    tree = plot(LOW, HIGH, value, log)
    at = float(re.match(r"M([\d.]+)", shape(tree, "value").get("d"))[1])
    painted, printed = shape(tree, "hand"), shape(tree, "print")
    for bar, quantiles in ((painted, LOW), (printed, HIGH)):
        left, right = (float(bar.get("x")) + k * float(bar.get("width")) for k in (0, 1))
        first, last = np.quantile(quantiles, [0.25, 0.75])
        assert (at < left) == (value < first) and (at > right) == (value > last)
        assert 48 <= left < right <= 252  # within the drawing
    assert 48 <= at <= 252
    # lanes are named, in place of colours alone, and the drawing is told in words
    assert {"painted", "printed"} <= {e.text for e in tree.iter() if e.text}
    assert f"This dial {value:.2f} mm" in tree.get("aria-label") and "30 painted" in tree.get("aria-label")


@pytest.mark.parametrize("log", [False, True])
@pytest.mark.parametrize("value", [8.64, 300.0, 1e-5])
def test_an_axis_that_would_crush_the_bars_is_cut_and_says_so(value, log):
    tree = plot(LOW, HIGH, value, log)
    bars = [(float(b.get("x")), float(b.get("x")) + float(b.get("width"))) for b in (shape(tree, "hand"),
            shape(tree, "print"))]  # fmt: skip
    across = max(last for _, last in bars) - min(first for first, _ in bars)
    at = float(re.match(r"M([\d.]+)", shape(tree, "value").get("d"))[1])
    assert across >= 0.23 * 204
    label, cut = tree.get("aria-label"), [e for e in tree.iter() if e.get("class") == "break"]
    if value > 1 or log:
        assert len(cut) == 1 and at == (252 if value > 1 else 48)
        assert f"Axis cut {'above' if value > 1 else 'below'} at " in label
        assert label.endswith(f"; this dial shows {value:.2f} mm.") and label.startswith(f"This dial {value:.2f} mm.")
        assert sum((e.text or "").startswith("cut at ") for e in tree.iter()) == 1
    else:  # 0 lies near enough
        assert not cut and "cut" not in label


def test_a_long_tail_is_cut_too_and_a_wide_axis_is_not():
    tail = np.concatenate([LOW[:-1], [20.0]])
    tree = plot(tail, HIGH, 0.7)
    assert "some drawn dials lie beyond" in tree.get("aria-label") and shape(tree, "break") is not None
    left, right = shape(tree, "hand").get("x"), shape(tree, "value").get("d")
    assert float(left) < float(re.match(r"M([\d.]+)", right)[1]) < 252
    assert "cut" not in plot(LOW, HIGH, 0.7).get("aria-label")


def test_an_axis_begins_at_nothing_where_nothing_lies_below():
    tree = plot(np.linspace(0.01, 2.0, 17), np.linspace(0.02, 2.4, 17), 1.1)
    assert "0.00 mm" in [e.text for e in tree.iter()]
    below = plot(np.linspace(-0.5, 2.0, 17), np.linspace(0.02, 2.4, 17), 1.1)
    assert any(text and text.startswith("-0.6") for text in (e.text for e in below.iter()))


def test_a_value_unlike_both_leans_to_neither():
    told = replace(row("thin against thick", 0.6, words="Unlike both painted and printed drawn dials: so."),
                   painted=100.0, printed=100.0)  # fmt: skip
    zone = evidence_table(evidence([told, row("width along a stroke", 0.5)]), diameter_mm=None).zones[0]
    assert [r.name for r in zone.unlike] == ["Thin against thick"] and not zone.silent
    assert (zone.unlike[0].lean, zone.unlike[0].lead, zone.unlike[0].says) == ("", "", told.words)
    assert zone.summary == "2 measured: 1 leans to the hand, 1 is unlike both kinds of drawn dials."
    assert zone.unlike_said == "1 measurement unlike both painted and printed drawn dials"


def test_fineness_is_said_for_the_size_given():
    resolved = 450.0
    plain = " ".join(evidence_table(evidence([row("width along a stroke", 0.5)]), diameter_mm=None).intro)
    assert "this photograph resolves 20.1 px/mm. Both are reckoned as if the dial were of 18 size, 44.9 mm" in plain
    given = evidence([row("width along a stroke", 0.5)], resolved)
    sized = " ".join(evidence_table(given, diameter_mm=43.18).intro)
    assert "if every dial were 44.9 mm across (18 size); so reckoned this photograph resolves 20.1 px/mm" in sized
    assert "20.8 px/mm at this dial’s 43.2 mm" in sized and "as if the dial were of 18 size" not in sized


def test_drawing_bears_values_all_alike_and_zeros():
    for quantiles in (np.zeros(17), np.full(17, 0.3)):
        for log in (False, True):
            numbers = re.findall(r"[\d.]+", shape(plot(quantiles, quantiles, 0.0, log), "value").get("d"))
            assert all(np.isfinite(float(number)) for number in numbers)


def test_lines_are_drawn_once_and_stay_on_their_strokes():
    layer = StrokeLayer(0.5)
    turn = np.linspace(0, 2 * np.pi, 400)
    circle = 200 + 100 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    stem = np.stack([np.full(80, 30.0), np.arange(80.0)], axis=1)
    assert layer.add(Zone.NUMERALS, [stem, circle]) == "0-1"
    assert layer.add(Zone.NUMERALS, [circle, np.zeros((1, 2)), np.full((5, 2), np.nan)]) == "1"
    assert len(layer.lines) == 2 and layer.lines[0].d == "M15.0 0.0L15.0 39.5"
    kept = simplified(circle, 0.3)
    assert len(kept) < 80
    # every point of the circle lies within the tolerance of the line drawn
    first, step = kept[:-1], np.diff(kept, axis=0)
    share = np.clip(((circle[:, None] - first) * step).sum(-1) / (step**2).sum(-1), 0, 1)
    off = np.linalg.norm(circle[:, None] - first - share[..., None] * step, axis=-1).min(axis=1)
    assert off.max() <= 0.3 + 1e-9
    assert ranges([0, 1, 2, 5, 7, 8]) == "0-2 5 7-8" and ranges([]) == ""


def row(name, lean, *, zone=Zone.NUMERALS, value=0.5, band=BAND, words="Leans to the hand: so.", strokes=9):
    line = np.array([[0.0, 0.0], [10.0, strokes]])
    high = ((lean or 0.0) > 0) == (GLOSSARY[name].hand > 0)  # as the craft expects
    painted, printed = (80.0, 90.0) if high else (10.0, 20.0)
    return MeasurementRow(zone, name, value, "ratio", strokes, 6, painted, printed, lean, band, words, (line,))


def evidence(rows, resolved=450.0, **facts):
    zones = {zone: ZoneFacts(0.2, 0.0, 9) for zone in ZONES} | {Zone[k.upper()]: v for k, v in facts.items()}
    return MeasuredEvidence(tuple(rows), zones, resolved, 0.002, 240)


def test_rows_stand_in_the_examiners_order_and_are_counted():
    rows = [
        row("width along a stroke", 0.5),
        row("thin against thick", -0.6, words="Leans to print: black."),
        row("unlikeness of like strokes", 0.1, words="Tells nothing here: alike."),
        row("width from stroke to stroke", None, band=None, words="Nothing to set it beside."),
        row("guide line", None, value=None, band=None, words="none of the 1 circle it takes: enamel", strokes=0),
    ]
    table = evidence_table(evidence(rows), diameter_mm=None, weighed=2)
    zone = table.zones[0]
    assert [r.name for r in zone.leaning] == ["Thin against thick", "Width along a stroke"]
    assert [(r.lead, r.says) for r in zone.leaning] == [("Leans to print", "black."), ("Leans to the hand", "so.")]
    assert [r.name for r in zone.silent] == ["Unlikeness of like strokes"] and zone.silent[0].plot
    assert [r.name for r in zone.alone] == ["Width from stroke to stroke"] and zone.alone[0].plot is None
    assert zone.missing == (("Guide line", "none of the 1 circle it takes: enamel"),)
    leans = "1 leans to the hand, 1 leans to print, 1 tells nothing here"
    assert zone.summary == f"4 measured: {leans}, 1 has no drawn dials to be set beside."
    intro = " ".join(table.intro)
    assert "4 measurements on the 45 strokes" in intro and "3 of them can be set beside" in intro
    assert "2 of them are weighed" in intro and "more than 28 dials" in intro and "0.20 % of the radius" in intro
    # in mm once the size is known
    assert "0.045 mm" in " ".join(evidence_table(evidence(rows), diameter_mm=45.0).intro)


def test_what_leans_both_ways_on_one_dial_is_folded_unless_its_zones_contradict():
    rows = [
        row("thin against thick", 0.5, words="Leans to the hand: pale."),
        row("thin against thick", -0.6, zone=Zone.MINUTE_TRACK, words="Leans to print: black."),
        row("width along a stroke", 0.5),
    ]
    first, second = evidence_table(evidence(rows), diameter_mm=None).zones
    assert [r.name for r in first.leaning] == ["Width along a stroke"] and not second.leaning
    assert [r.says for r in first.doubted] == ["pale. In another part of this dial it leans the other way."]
    assert first.summary == "2 measured: 1 leans to the hand, 1 is to be given no weight."
    assert second.doubted_said == "1 measurement to give no weight" and not second.silent
    mixed = evidence_table(evidence(rows), diameter_mm=None, mixed=True).zones
    assert [len(zone.leaning) for zone in mixed] == [2, 1] and not any(zone.doubted for zone in mixed)


def test_what_leans_against_the_craft_is_folded():
    odd = replace(row("thin against thick", -0.6, words="Leans to print: so."), painted=10.0, printed=20.0)
    (zone,) = evidence_table(evidence([odd]), diameter_mm=None).zones
    assert not zone.leaning and [(r.name, r.lean) for r in zone.doubted] == [("Thin against thick", "")]


def test_zones_without_measurements_say_why():
    none = [row("thin against thick", None, value=None, band=None, words="1 of the 6 it takes: strokes")]
    table = evidence_table(
        evidence(none, signature=ZoneFacts(0.0, 0.0, 0), seconds_bit=ZoneFacts(0.1, 0.7, 0),
                 minute_track=ZoneFacts(0.1, 0.1, 0)),
        diameter_mm=None,
    )  # fmt: skip
    why = dict(table.empty)
    assert not table.zones and "Nothing could be measured in this photograph" in table.intro[0]
    assert why["signature"] == "Not found in this photograph."
    assert why["seconds bit"] == "Hands or the frame cover 70% of it."
    assert "No stroke stands out" in why["minute track"] and "9 strokes traced" in why["numerals"]
    assert nothing_measured("no dial was found").intro == ("Nothing was measured: no dial was found.",)


def test_unknown_resolution_is_said():
    bare = replace(row("thin against thick", None, words="Nothing to set it beside."), band=None)
    assert "cannot be told" in " ".join(evidence_table(evidence([bare], 0.0), diameter_mm=None).intro)


def test_searched_circles_are_no_strokes():
    table = evidence_table(evidence([row("guide line", 0.5, words="Leans to the hand: a circle.")]), diameter_mm=None)
    assert [line.searched for line in table.lines] == [True]
