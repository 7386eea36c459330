"""The ladder from weights to files: dials judged in batches as one by one, and every figure in its place."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.ladder import ladder
from dialtell.evaluate.ladder.dials import read_rung, tell
from dialtell.evaluate.ladder.ladder import gather_weights, groups, kind_of, run_ladder, table
from dialtell.evaluate.ladder.rungs import BY_LETTER
from dialtell.model.net.calibration import HAND, PRINTED
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.net.resolution import needed_pixels_per_radius
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import SHIPPED, load_weights, save_weights
from dialtell.model.reading.patches import PatchSet
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.run.store import unpack

RECORD = {
    "name": "strokes", "version": "9", "renderer_version": "3", "figures": {},
    "calibration": {part: {"slope": 1.0, "offset": 0.0} for part in ("dial", "zone", "print")},
}  # fmt: skip


def made(folder, seed, **flags):
    """Weights of an untrained small net, as a study's member writes them."""
    torch.manual_seed(seed)
    net = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16, **flags))
    path = folder / "strokes.safetensors"
    save_weights(path, net, RECORD | {"training": {"config": {"seed": seed, "epochs": 2}, "steps": 4}})
    return path


@pytest.fixture(scope="module")
def dials():
    return {letter: [read_rung(letter, index) for index in range(8)] for letter in "CF"}


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "study"
    for seed in (1, 2):
        made(folder / f"strokes-{seed}", seed)
    made(folder / "texture", 1, spread=False)
    return folder


def test_truth_goes_with_the_picture(dials):
    spec = BY_LETTER["F"].spec(0)
    bag = dials["F"][0].bag
    assert bag.dial == -1 and {0, 1} <= set(bag.hand.tolist())
    for zone, hand in zip(ZONES, bag.hand, strict=True):
        assert hand in (-1, int(spec.making.process_of(zone).value == "hand"))
    assert [dial.bag.dial for dial in dials["C"]] == [1, 0] * 4
    assert all(0 < dial.true <= 1.5 * dial.stored for dial in dials["C"])


def patches_of(bag, density, own):
    nothing = np.empty((own.sum(), 2))
    return PatchSet(
        density[own], bag.zone[own].astype(np.int64), nothing, nothing, nothing[:, 0], 1.0, bag.resolution,
        scale=bag.scales[own].astype(np.float64),
    )  # fmt: skip


def test_judged_in_batches_as_one_by_one(dials):
    """Against evaluate.verdict.judge with the whole net on the whole dial, as a photograph is judged."""
    weights = load_weights(SHIPPED)
    (told,) = tell(dials["C"], [weights], torch.device("cpu"))
    need = 2 * needed_pixels_per_radius(weights.record)
    called = 0
    for row, dial in enumerate(dials["C"]):
        bag = dial.bag
        density = unpack(torch.from_numpy(bag.density)).numpy()
        first = bag.scales == 0
        rest = patches_of(bag, density, ~first) if not first.all() else None
        patches = replace(patches_of(bag, density, first), fine=rest)
        verdict = judge(patches, weights, withheld=dial.true < need or dial.screened)
        assert told.ratio[row] == pytest.approx(verdict.whole.log10_lr, abs=1e-4)
        assert told.call[row] == {HAND: 1, PRINTED: 0}.get(verdict.call, -1)
        for column, zone in enumerate(ZONES):
            expected = verdict.zones[zone].log10_lr
            assert told.zone_ratio[row, column] == pytest.approx(np.nan if expected is None else expected,
                                                                  abs=1e-4, nan_ok=True)  # fmt: skip
        called += told.call[row] >= 0
    assert called


def test_an_unreadable_dial_is_undetermined(dials):
    dial = dials["C"][0]
    blank = replace(dial, bag=replace(dial.bag, density=dial.bag.density[:0], zone=dial.bag.zone[:0]))
    (told,) = tell([blank, dials["C"][1]], [load_weights(SHIPPED)], torch.device("cpu"))
    assert np.isnan(told.ratio[0]) and told.call[0] == -1 and np.isfinite(told.ratio[1])


def test_weights_of_a_study_and_shipped(study):
    found = gather_weights([study, "shipped"])
    assert list(found) == ["strokes-1", "strokes-2", "texture", "shipped"]
    assert [kind_of(one) for one in found.values()] == ["strokes", "strokes", "texture alone", "strokes"]
    kinds = groups(found)  # the shipped net was trained another way: no seed of the same
    assert kinds == {
        "strokes": ["strokes-1", "strokes-2"], "strokes (shipped)": ["shipped"], "texture alone": ["texture"],
    }  # fmt: skip
    assert next(iter(kinds)) == "strokes"
    with pytest.raises(WeightsError, match="no weights there"):
        gather_weights([study / "nothing-here" if (study / "nothing-here").mkdir() is None else study])


@pytest.fixture(scope="module")
def climbed(study, dials, tmp_path_factory):
    out = tmp_path_factory.mktemp("ladder")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ladder, "read_rungs", lambda wanted, workers: (dials[letter][index] for letter, index in wanted))
        document = run_ladder([study], out=out, count=8, rungs="CF", device="cpu")
    return out, document


def test_files(climbed, strict_json):
    out, document = climbed
    assert sorted(path.name for path in out.iterdir()) == [
        "coverage.png", "ladder.csv", "ladder.json", "ladder_dials.npz", "reliability.png", "roc.png",
    ]  # fmt: skip
    assert strict_json((out / "ladder.json").read_text()) == document
    assert all(document["rungs"][letter]["as_frozen"] for letter in "CF")
    assert (out / "ladder.csv").read_text() == table(document)
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in out.glob("*.png"))
    with np.load(out / "ladder_dials.npz", allow_pickle=False) as kept:
        assert kept["C hand"].tolist() == [1, 0] * 4 and kept["F texture zone_ratio"].shape == (8, len(ZONES))


def test_document(climbed):
    _, document = climbed
    twins, mixed = document["rungs"]["C"], document["rungs"]["F"]
    assert twins["kinds"]["strokes"]["nets"] == ["strokes-1", "strokes-2"]
    assert twins["kinds"]["strokes"]["dials"]["all"]["n"] == 16 and twins["nets"]["strokes-1"]["dials"]["all"]["n"] == 8
    assert twins["kinds"]["strokes"]["dials"]["all"]["dials"] == 4  # pairs belong together
    assert twins["nets"]["texture"]["twins"]["pairs"] == 4 and "twins" not in mixed["nets"]["texture"]
    assert set(mixed["nets"]["texture"]["zones"]) == {"all", *map(str, ZONES)}


def test_table_has_a_row_for_everything(climbed):
    _, document = climbed
    rows = list(csv.DictReader(io.StringIO(table(document))))
    c, f = (2 + 3) * 3, (2 + 3) * (1 + len(ZONES))
    assert len(rows) == c + f and {row["rung"] for row in rows} == {"C", "F"}
    assert all(0 <= float(row["coverage_low"]) <= float(row["coverage"]) for row in rows if row["coverage"])


def test_wrong_words(tmp_path, capsys):
    with pytest.raises(ParameterError, match="count is 3; give at least 8"):
        run_ladder([None], out=tmp_path / "x", count=3)
    command = ["benchmark", "--ladder", str(tmp_path / "none.safetensors"), "--out", str(tmp_path / "x")]
    assert main(command) == 1
    said = capsys.readouterr().err
    assert "error: " in said and "none.safetensors" in said and not (tmp_path / "x").exists()
