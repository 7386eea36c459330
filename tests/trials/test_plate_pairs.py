"""Rows of drawn pairs: a run that was stopped goes on; fitted on one half of the designs, measured on the other."""

import json
import math

import numpy as np
import pytest
from trials.plates import plate_pairs
from trials.plates.dial_pairs import Kinship, sample_pair, shared_strokes, stroke_middles, true_spread
from trials.plates.pair_rows import Bench, PairRow, line_of, read_rows, rows_from, scope_at
from trials.plates.plate_fit import SAME, figures, fit, fits

from dialtell.evaluate.compare.findings import CANNOT_TELL, ONE_PLATE
from dialtell.evaluate.compare.plate_test import Laid, judge_pair, model_from
from dialtell.synth.scene import render
from dialtell.synth.shared.errors import OutputError

# robust SD of what is left, px, by kinship: about what drawn pairs leave at 300 px per dial radius
LEFT = {Kinship.ONE_PLATE: 0.15, Kinship.CUT_TWICE: 0.4, Kinship.ONE_HAND: 0.9, Kinship.TWO_HANDS: 1.1}


def made_rows(index, px_per_mm=15.0, seed=1):
    rng = np.random.default_rng([seed, index])
    rows = []
    for kinship in Kinship:
        share = 0.3 if kinship is Kinship.DIFFERENT else rng.uniform(0.88, 0.99)
        spread = LEFT.get(kinship, 2.0) * rng.uniform(0.8, 1.25) / 300
        laid = Laid(300, round(300 * share), spread, 0.92, 300.0)
        truth = math.nan if kinship is Kinship.DIFFERENT else 0.9 * spread * 22
        place = 0.01 if kinship is Kinship.ONE_PLATE else math.nan
        rows.append(PairRow(seed, index, px_per_mm, str(kinship), 22.0, 0.5, laid, truth, place))
    return rows


def test_rows_survive_the_file_and_a_cut_off_line_is_taken_off(tmp_path):
    path = tmp_path / "pairs.jsonl"
    assert read_rows(path) == []
    lines = [line_of(made_rows(index)) for index in range(3)]
    path.write_text("".join(lines) + lines[0][:90])
    rows = read_rows(path)
    assert len(rows) == 3 * len(Kinship) and path.read_text() == "".join(lines)
    for row, made in zip(rows, [row for index in range(3) for row in made_rows(index)], strict=True):
        assert row.laid.spread == pytest.approx(made.laid.spread, rel=1e-5)
        assert math.isnan(row.true_spread_mm) == math.isnan(made.true_spread_mm)
    with pytest.raises(OutputError, match="another --rows"):
        rows_from(lines[0].replace('"renderer": "', '"renderer": "other '))


def test_the_command_measures_what_is_left_and_fits(tmp_path, monkeypatch, capsys):
    asked = []
    monkeypatch.setattr(plate_pairs, "pair_rows", lambda *job: asked.append(job) or made_rows(job[1], job[2], job[0]))
    path = tmp_path / "pairs.jsonl"
    given = ["--rows", str(path), "--px-per-mm", "15", "30", "--seed", "1"]
    assert plate_pairs.main([*given, "--count", "20", "--no-fit"]) == 0
    assert len(asked) == 40 and capsys.readouterr().out == ""
    assert plate_pairs.main([*given, "--count", "60"]) == 0
    assert len(asked) == len(set(asked)) == 120  # none twice
    table = json.loads(capsys.readouterr().out)
    model = model_from(json.loads((tmp_path / "plate_test.json").read_text()))
    assert [line["px_per_mm"] for line in table] == [15.0, 30.0, None]
    assert table[0]["one plate"]["n"] == 30 and table[2]["painted called one plate"][:2] == [0, 120]
    assert model.low < 0 < model.high and model.figures["seed"] == 1


def test_no_design_is_fitted_and_measured():
    rows = [row for index in range(80) for px in (15.0, 30.0) for row in made_rows(index, px)]
    fitted, measured = {row.index for row in rows if fits(row)}, {row.index for row in rows if not fits(row)}
    assert not fitted & measured and len(fitted) == len(measured) == 40
    record = fit([row for row in rows if fits(row)])
    model = model_from(record)
    # kinds of pair so well apart are told, and no further than their number vouches for
    counts = [sum((r.kinship == Kinship.ONE_PLATE) == one for r in rows if fits(r) and r.kinship in SAME)
              for one in (True, False)]  # fmt: skip
    assert -math.log10(counts[0] + 1) <= model.low < 0 < model.high <= math.log10(counts[1] + 1)
    line = figures([row for row in rows if not fits(row)], model)[-1]
    assert line["AUC against painted"][0] > 0.99
    assert line["residual error mm"]["painted"]["n"] == 160
    assert line["residual error mm"]["painted"]["median"] > 0  # the truth was made a tenth smaller


def test_a_part_that_coincides_is_not_called_one_plate():
    rows = [row for index in range(200) for row in made_rows(index)]
    model = model_from(fit([row for row in rows if fits(row)]))
    close = Laid(120, 115, 0.1 / 300, 0.93, 300.0)
    assert judge_pair(close, model).finding == ONE_PLATE
    part = judge_pair(close, model, part=True)
    assert part.finding == CANNOT_TELL and "a part alone" in part.reason and part.log10_lr <= 0.5
    apart = Laid(120, 110, 1.5 / 300, 0.9, 300.0)
    assert judge_pair(apart, model, part=True).finding == judge_pair(apart, model).finding
    elsewhere = Laid(120, 20, 1.5 / 300, 0.9, 300.0)
    assert judge_pair(elsewhere, model, part=True).finding == CANNOT_TELL


def test_what_is_shared_does_not_change_a_pixel():
    """Objects and paint drawn once for several photographs give the bytes that drawing each alone gives."""
    scope = scope_at(4.0)
    bench = Bench()
    for kinship in (Kinship.ONE_PLATE, Kinship.CUT_TWICE):
        pair = sample_pair(5, 2, kinship, scope)
        for spec in (pair.first, pair.second):
            assert (bench.picture(spec) == render(spec)).all()


def test_truth_knows_plates_from_painted_copies():
    """From the strokes alone: prints of one plate leave microns, painted copies tens of them."""
    left = {kinship: true_spread(sample_pair(5, 3, kinship, scope_at(4.0))) for kinship in SAME}
    assert left[Kinship.ONE_PLATE] < 0.01 < left[Kinship.ONE_HAND]
    assert left[Kinship.ONE_PLATE] < left[Kinship.CUT_TWICE]
    a, b = shared_strokes(sample_pair(5, 3, Kinship.ONE_PLATE, scope_at(4.0)), stroke_middles)
    assert a.shape == b.shape and len(a) > 50
