"""Evidence from a whole reading: places, words, lines on the photograph; the reference command; the second opinion."""

import json
import math

import numpy as np
import pytest
from drawn_dial import photographed
from trials.opinions import reference_spread
from trials.opinions.opinion_fit import fit_opinion, report

from dialtell.evaluate.measurements import tone
from dialtell.evaluate.measurements.evidence import gather_evidence
from dialtell.evaluate.measurements.finding import Finding
from dialtell.evaluate.measurements.gathering import MEASURES
from dialtell.evaluate.measurements.glossary import GLOSSARY, Look
from dialtell.evaluate.measurements.glossary import place as place_of
from dialtell.evaluate.measurements.second_opinion import FILE, Opinion, Weigher, load_weigher
from dialtell.evaluate.measurements.spread import (
    Band,
    Spread,
    SpreadPlace,
    band_of,
    from_json,
    load_spread,
    place_in,
    spread_of,
    to_json,
)
from dialtell.evaluate.measurements.words import value_words, words
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import Zone

SCALE = 30.0 * size_mm(18) / 2  # true px per dial radius of 30 px/mm
KEY = f"{Zone.NUMERALS}|{tone.THIN_TO_THICK.name}"


def made_rows(count=200, apart=1.0, keys=(KEY,), seed=1):
    """Rows as the reference command makes them; values normal, painted `apart` SDs lower."""
    rng = np.random.default_rng(seed)
    rows = []
    for index in range(count):
        hand = int(index % 2 == 0)
        values = {key: float(0.8 + 0.1 * (rng.standard_normal() - apart * hand)) for key in keys}
        rows.append({"index": index, "hand": hand, "picture": index // 2, "scale": SCALE, "values": values})
    return rows


def finding(value, strokes=9):
    return Finding(tone.THIN_TO_THICK, Zone.NUMERALS, value, strokes)


def test_lean_follows_the_likelihood_ratio_of_normal_laws():
    spread = spread_of(made_rows(4000, apart=1.0), "3")
    # for SD 0.1 and means 0.7 and 0.8: ln LR = -10 (x - 0.75), exact
    for value in (0.60, 0.70, 0.75, 0.80, 0.90):
        place = spread.place(finding(value), SCALE)
        assert place.lean == pytest.approx(-10 * (value - 0.75) / math.log(10), abs=0.17)
    middle = spread.place(finding(0.70), SCALE)
    assert middle.painted == pytest.approx(50, abs=3)
    assert middle.printed == pytest.approx(15.9, abs=3)  # one SD below


def test_few_dials_give_no_spread_and_little_difference_little_lean():
    assert spread_of(made_rows(30), "3").place(finding(0.7), SCALE) is None
    same = spread_of(made_rows(400, apart=0.0), "3")
    assert abs(same.place(finding(0.8), SCALE).lean) < 0.15
    assert same.place(finding(0.8), 3 * SCALE) is None  # another band
    assert same.place(finding(0.8), 0.0) is None  # resolution not known
    assert same.place(finding(None), SCALE) is None
    far = spread_of(made_rows(400, apart=1.0), "3").place(finding(-50.0), SCALE)
    assert (far.painted, far.printed) == (0.0, 0.0) and abs(far.lean) <= 1.5


def test_equal_quantiles_give_a_middle_place():
    band = spread_of([row | {"values": {KEY: 0.5}} for row in made_rows()], "3").bands[
        Zone.NUMERALS, "thin against thick"
    ]
    place = place_in(next(b for b in band if b), tone.THIN_TO_THICK, 0.5)
    assert (place.painted, place.printed, place.lean) == (50.0, 50.0, 0.0)


def test_bands_are_of_resolved_px_per_mm():
    radius = size_mm(18) / 2
    assert [band_of(v * radius) for v in (4, 8.9, 9.1, 15, 20, 30, 41, 500)] == [0, 0, 1, 1, 2, 3, 4, 4]


def test_spread_survives_json_and_refuses_another_kind():
    spread = spread_of(made_rows(), "3")
    again = from_json(json.loads(json.dumps(to_json(spread))), "memory")
    first, second = (s.place(finding(0.7), SCALE) for s in (spread, again))
    assert first.lean == pytest.approx(second.lean, abs=0.01)
    with pytest.raises(ParameterError, match="reference_spread"):
        from_json({"schema": "other"}, "other.json")
    wrong = to_json(spread)
    wrong["measurements"]["numerals|no such thing"] = []
    with pytest.raises(ParameterError, match="no such thing"):
        from_json(wrong, "x.json")


def test_words_are_made_from_the_numbers():
    spread = spread_of(made_rows(2000, apart=2.0), "3")
    low, none = finding(0.55), finding(None, 2)
    text = words(low, spread.place(low, SCALE))
    assert text.startswith("Leans to the hand: thin strokes fainter than thick ones. Such a value is ")
    assert text.endswith("times as common on drawn dials that are painted as on those that are printed.")
    high = finding(0.85)
    assert words(high, spread.place(high, SCALE)).startswith("Leans to print: thin strokes as black as thick ones.")
    assert words(none, None).startswith(
        "it takes 6 thin strokes, and only 2 could be used: strokes less than 42% as wide"
    )
    assert words(finding(None, 9), None).startswith("9 thin strokes were looked at; it takes ")
    assert words(low, None).startswith("Nothing to set it beside")
    level = words(finding(0.7), spread_of(made_rows(2000, 0.0), "3").place(finding(0.7), SCALE))
    assert level.startswith("Tells nothing here") and "Few" not in level
    for painted, printed, end in ((99.0, 90.0, "as much."), (3.0, 12.0, "as little."), (99.0, 80.0, "the other.")):
        assert words(finding(0.7), SpreadPlace(painted, printed, 0.1)).endswith(end)


def test_words_doubt_what_the_craft_does_not_expect():
    assert "expect the reverse" in words(
        finding(0.9), SpreadPlace(90.0, 70.0, 0.6)
    )  # black thin strokes, yet to the hand
    assert "expect the reverse" not in words(finding(0.4), SpreadPlace(20.0, 5.0, 0.6))
    assert "beyond nearly all" in words(finding(0.1), SpreadPlace(0.0, 0.0, 0.6))
    assert "beyond nearly all" not in words(finding(0.4), SpreadPlace(20.0, 0.0, 0.6))


@pytest.mark.parametrize("lean", [0.6, -0.6, 0.0])
@pytest.mark.parametrize(
    ("painted", "printed", "where"),
    [(0.0, 0.0, "beyond"), (100.0, 100.0, "beyond"), (100.0, 0.0, "between"), (0.0, 100.0, "between")],
)
def test_a_value_outside_both_spreads_is_unlike_either(painted, printed, where, lean):
    place = SpreadPlace(painted, printed, lean)
    text = words(finding(0.1), place)
    assert place.outside and text.startswith(f"Unlike both painted and printed drawn dials: it lies {where} ")
    assert "Leans" not in text and "times as common" not in text
    for inside in (SpreadPlace(0.1, 0.0, lean), SpreadPlace(100.0, 97.0, lean), SpreadPlace(50.0, 50.0, lean)):
        assert not inside.outside and "Unlike" not in words(finding(0.1), inside)


def test_outside_is_beyond_the_outermost_quantile_kept_of_both():
    band = Band(np.linspace(0.1, 0.5, 17), np.linspace(0.3, 0.7, 17), 30, 30)
    apart = Band(np.linspace(0.1, 0.3, 17), np.linspace(0.6, 0.9, 17), 30, 30)
    for value, outside in ((0.09, True), (0.1, False), (0.4, False), (0.7, False), (0.71, True)):
        assert place_in(band, tone.THIN_TO_THICK, value).outside is outside, value
    for value, outside in ((0.2, False), (0.45, True), (0.8, False)):
        assert place_in(apart, tone.THIN_TO_THICK, value).outside is outside, value
    assert place_in(band, tone.THIN_TO_THICK, 0.05).lean > 0  # what the second opinion weighs stays


@pytest.mark.parametrize(
    ("name", "value", "unit", "said", "short"),
    [
        ("raggedness of edges", 0.0341, "mm", "0.034 mm", "0.034"),
        ("raggedness of edges", 0.00341, "mm", "0.0034 mm", "0.0034"),
        ("raggedness of edges", 0.0024, "dial radii", "0.24 % of the radius", "0.24 %"),
        ("slant of ticks", 1.234, "degrees", "1.23°", "1.23°"),
        ("guide line", 0.031, "D", "0.031 D", "0.031"),
        ("grain within strokes", 0.31, "D", "0.31 D", "0.31"),
        ("width along a stroke", 0.043, "ratio", "4.3 %", "4.3 %"),
        ("thin against thick", 0.8, "ratio", "80 %", "80 %"),
        ("density against width", -0.4, "ratio", "−0.40", "−0.40"),
        ("density from ring to ring", 0.0, "ratio", "× 1.00", "× 1.00"),
    ],
)
def test_values_in_words(name, value, unit, said, short):
    assert value_words(name, value, unit) == said
    assert value_words(name, value, unit, short=True) == short


def test_every_measure_is_explained():
    assert set(GLOSSARY) == set(MEASURES)
    looks = [GLOSSARY[name].look for name in sorted(MEASURES, key=place_of)]
    assert looks == sorted(looks, key=list(Look).index)  # the examiner's order
    for name, term in GLOSSARY.items():
        unit = MEASURES[name].unit
        assert term.shown == "plain" or unit == "ratio", name
        # a scatter or a fading is what hands leave; the table of looks says so once for all
        assert term.hand in (-1, 0, 1)


@pytest.fixture(scope="module")
def twins():
    """A painted dial and its printed twin, read at about 30 px/mm."""

    from dialtell.model.reading.steps import read_at
    from dialtell.synth.scene import Range, radiance, sample_spec
    from dialtell.synth.shared.terms import Process
    from dialtell.train.bags.bags import known_geometry

    scope = Range(pixels_per_radius=(640.0, 641.0), max_side=1600, tilt=10.0, wear=(0.0, 0.1), steadiness=(0.2, 0.4),
                  mastered=0.0, finished=0.0)  # fmt: skip
    readings = []
    for process in (Process.HAND, Process.TRANSFER):
        spec = sample_spec(7_300_077, 4, scope, process)
        geometry = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
        readings.append(
            (read_at(photographed(radiance(spec)), geometry, geometry.twelve_deg), 2 * spec.design.radius_mm)
        )
    return readings


def test_evidence_of_a_whole_dial(twins):
    evidence = [gather_evidence(reading, diameter_mm=across) for reading, across in twins]
    painted, printed = ({(row.zone, row.name): row for row in each.rows} for each in evidence)
    assert {row.name for row in evidence[0].rows} <= set(MEASURES)
    assert {Zone.NUMERALS, Zone.MINUTE_TRACK} <= {row.zone for row in evidence[0].rows}
    geometry = twins[0][0].geometry
    for row in evidence[0].rows:
        assert row.too_few == (row.value is None) == ("it takes" in row.words)
        assert row.unit in ("ratio", "D", "degrees", "mm")
        if row.value is not None:
            assert math.isfinite(row.value) and row.strokes > 0 and row.lines
        for line in row.lines:
            assert (np.hypot(*geometry.to_dial(line).T) < 1.05).all()
    for name in ("width along a stroke", "density along a stroke", "raggedness of edges"):
        key = (Zone.NUMERALS, name)
        assert painted[key].value > 1.2 * printed[key].value, name
    # without a diameter lengths stay in dial radii
    bare = {(row.zone, row.name): row for row in gather_evidence(twins[0][0]).rows}
    key = (Zone.NUMERALS, "raggedness of edges")
    assert bare[key].unit == "dial radii"
    assert bare[key].value * twins[0][1] / 2 == pytest.approx(painted[key].value)


def test_lines_lie_on_ink(twins):
    reading, _ = twins[0]
    evidence = gather_evidence(reading)
    row = next(r for r in evidence.rows if r.zone is Zone.NUMERALS and r.name == "width along a stroke")
    points = np.concatenate(row.lines)
    column, line = np.floor(points).astype(int).T
    assert np.mean(reading.density[line, column] > 0.2) > 0.96


def test_an_unnamed_close_up_has_one_zone(twins):
    from dialtell.model.reading.steps import read_unnamed

    reading, _ = twins[0]
    light = np.power(np.float32(10), -reading.density)[300:900, 300:1000]
    from dialtell.model.reading.close_up import unnamed_geometry

    evidence = gather_evidence(read_unnamed(photographed(light), unnamed_geometry(light.shape, 640.0)))
    assert {row.zone for row in evidence.rows} <= {Zone.OTHER}


def test_bare_enamel_gives_no_rows(twins):
    from dialtell.model.reading.steps import read_at

    reading, _ = twins[0]
    rng = np.random.default_rng(0)
    light = (0.8 + 0.004 * rng.standard_normal(reading.density.shape)).astype(np.float32)
    assert all(row.value is None for row in gather_evidence(read_at(photographed(light), reading.geometry)).rows)


def test_what_was_not_measured_says_nothing():
    weigher = Weigher({f"k{n}": 2.0 for n in range(6)}, -1.0, 2.0)
    few = weigher.weigh({"k0": 1.0})
    assert few == Opinion(None, False, ("k0",), ("k1", "k2", "k3", "k4", "k5"))
    five = weigher.weigh({f"k{n}": 0.1 for n in range(5)} | {"strange": 9.0})
    assert five.log10_lr == pytest.approx(1.0 / math.log(10)) and five.missing == ("k5",)
    six = weigher.weigh({f"k{n}": 0.1 for n in range(5)} | {"k5": 0.0})
    assert six.log10_lr == five.log10_lr
    low = weigher.weigh({f"k{n}": -1.0 for n in range(6)})
    assert (low.log10_lr, low.capped) == (-1.0, True)


def test_fitted_weights_do_not_count_one_thing_twice():
    """Six measurements, one in ten missing; two are copies of one, and one says nothing."""
    names = list(MEASURES)[:6]
    keys = [f"{Zone.NUMERALS}|{name}" for name in names]
    rng = np.random.default_rng(2)
    rows = []
    for index in range(1200):
        hand = int(index % 2 == 0)
        value = np.exp(0.5 * rng.standard_normal(6) + 0.5 * hand)
        value[1] = value[0]
        value[5] = np.exp(0.5 * rng.standard_normal())
        kept = rng.random(6) < 0.9
        values = {key: float(v) for key, v, k in zip(keys, value, kept, strict=True) if k}
        rows.append({"index": index, "hand": hand, "picture": index // 2, "scale": SCALE, "values": values})
    document = fit_opinion(rows, "3")
    weights = document["weights"]
    # 4 independent normal measurements one SD apart
    assert 0.3 < document["cllr_left_out"] < 0.62
    assert weights[keys[0]] + weights[keys[1]] < 1.75 * weights[keys[2]]
    low, high = document["log10_bounds"]
    assert -3 < low < -0.3 and 0.3 < high < 3  # no further than 600 dials a side can vouch for


def test_shipped_files_fit_together():
    spread, weigher = load_spread(), load_weigher()
    assert isinstance(spread, Spread) and spread.dials > 100
    known = {f"{zone}|{name}" for zone, name in spread.bands}
    assert set(weigher.weights) <= known
    assert weigher.low < 0 < weigher.high
    import importlib.resources

    folder = importlib.resources.files("dialtell.evaluate.measurements")
    assert len(folder.joinpath("reference_spread.json").read_bytes()) < 200_000
    assert json.loads(folder.joinpath(FILE).read_text())["dials"] == spread.dials


def test_reference_dials_are_twins_and_repeat():
    painted, printed = (reference_spread.spec_of(11, index) for index in (4, 5))
    assert painted.view == printed.view and painted.design == printed.design
    assert painted.making.processes[0].value == "hand" and printed.making.processes[0].printed
    assert reference_spread.spec_of(11, 4) == painted


def test_reference_command_takes_rows_again(tmp_path, capsys):
    rows = tmp_path / "rows.jsonl"
    rows.write_text("".join(json.dumps(row) + "\n" for row in made_rows()))
    out = tmp_path / "spread.json"
    assert reference_spread.main(["--from-rows", str(rows), "--out", str(out)]) == 0
    assert json.loads(capsys.readouterr().out)["dials"] == 200
    assert json.loads(out.read_text())["dials"] == 200
    with pytest.raises(SystemExit) as stop:
        reference_spread.main(["--count", "1", "--out", str(out)])
    assert stop.value.code == 2


@pytest.mark.slow
def test_reference_dials_do_not_depend_on_the_workers():
    alone, shared = (list(reference_spread.measured_dials(5, 4, workers)) for workers in (1, 2))
    assert alone == shared


def test_report_of_measured_dials():
    keys = [f"{Zone.NUMERALS}|{name}" for name in list(MEASURES)[:6]]
    rows = made_rows(400, 1.0, keys)
    weigher = Weigher(dict.fromkeys(keys, 1.0), -2.0, 2.0)
    said = report(made_rows(200, 1.0, keys, seed=2), spread_of(rows, "3"), weigher)
    # six independent measurements one SD apart: AUC = Phi(sqrt(6) / sqrt 2) = 0.958, exact
    assert said["judged"] == 200
    assert said["auc_95"][0] - 0.02 <= 0.958 <= said["auc_95"][1] + 0.02
