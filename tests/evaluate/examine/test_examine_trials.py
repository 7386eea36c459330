"""The trials of the examination can be run, and the one of kills would see a loss."""

from __future__ import annotations

import io
import json

import pytest
from trials.kills import examine as kills
from trials.speed import examine as speed

from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.model.reading.known import MarkedPlace


def test_a_loss_would_be_seen(tmp_path):
    files = KeptFiles(tmp_path / "dials")
    files.prepare()
    ledger = kills.Ledger()
    with files.opened() as dials:
        dial = dials.new_dial(blind=False)
        dials.note(dial, "dial", "painted")
    ledger.opinions[dial, "dial"] = "painted"
    assert ledger.faults(files) == []
    ledger.opinions[dial, "dial"] = "printed"
    ledger.photographs["a" * 64] = dial
    ledger.fields[dial] = "name"
    assert len(ledger.faults(files)) == 3
    ledger.open = ("opinion", dial, "dial", "painted")  # asked, not answered: either may stand
    assert len(ledger.faults(files)) == 2
    sha256, file = files.keep(io.BytesIO(b"photograph"), "b.jpg")
    with files.opened() as dials:
        dials.take(dial, sha256, file, "b.jpg")
        dials.change_places(sha256, lambda _: (MarkedPlace("hand", ((5.0, 1.0), (9.0, 1.0), (9.0, 9.0))),), "")
    ledger.photographs[sha256], ledger.places[sha256] = dial, [5.0]
    assert len(ledger.faults(files)) == 2
    ledger.places[sha256] = []
    assert len(ledger.faults(files)) == 3


@pytest.mark.slow
def test_killed_a_few_times(tmp_path):
    told = kills.trial(tmp_path / "dials", kills=3, span=20.0, seed=2, minutes=5)
    assert told["kills"] == 3 and told["faults"] == [] and told["unread"] == 0


@pytest.mark.slow
def test_speeds_are_told(capsys):
    assert speed.main(["--repeats", "1", "--many", "4", "--dials", "200"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["list"]["seen"].get("acts", 81) == 81
    assert told["at_once"]["read"] == told["at_once"]["different"] == 4 and told["first_call"]["times"] > 0
