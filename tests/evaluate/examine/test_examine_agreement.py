"""Agreement over the collection: what counts, and kappa of a known table."""

from __future__ import annotations

import pytest
from examine_asked import add, asked, new_dial, settled
from sklearn.metrics import cohen_kappa_score

from dialtell.evaluate.examine.agreement import CALLS, WORDS, collection_agreement
from dialtell.evaluate.examine.kept_files import KeptFiles


def _told(files, zone="dial"):
    with files.opened() as dials:
        return next(part for part in collection_agreement(dials) if part["zone"] == zone)


def test_kappa_is_that_of_an_outside_reckoning(tmp_path):
    files = KeptFiles(tmp_path / "dials")
    files.prepare()
    said = ["painted"] * 8 + ["printed"] * 9 + ["mixed"] * 2 + ["cannot tell"] * 3
    calls = ["hand-painted"] * 6 + ["printed"] * 9 + ["undetermined"] * 5 + ["hand-painted"] * 2
    with files.opened() as dials, dials._change() as base:
        for label, call in zip(said, calls, strict=True):
            base.execute(
                "INSERT INTO examined_dial (uid, made_at, blind, shown_at) VALUES (hex(randomblob(16)), '', 1, 'x')"
            )
            number = base.execute("SELECT max(id) FROM examined_dial").fetchone()[0]
            base.execute("INSERT INTO examined_standing VALUES (?, 'dial', ?)", (number, call))
            base.execute(
                "INSERT INTO examined_opinion (dial, zone, label, call_shown, noted_at) VALUES (?, 'dial', ?, 0, '')",
                (number, label),
            )
    told = _told(files)
    mine = [WORDS[label] for label in said]
    assert told["n"] == 22 and told["few"]
    assert told["alike"] == sum(a == b for a, b in zip(mine, calls, strict=True))
    assert told["opposed"] == sum({a, b} == set(CALLS[:2]) for a, b in zip(mine, calls, strict=True))
    assert told["kappa"] == pytest.approx(cohen_kappa_score(mine, calls), abs=1e-4)
    assert told["interval"][0] < told["kappa"] < told["interval"][1]
    assert _told(files, "numerals")["n"] == 0 and _told(files, "numerals")["kappa"] is None


def test_only_what_was_said_before_the_call_was_seen_counts(tmp_path):
    with asked(tmp_path / "dials") as client:

        def say(dial, label, zone="dial"):
            client.post(f"/dials/{dial}/opinion", json={"zone": zone, "label": label})

        seen, blind, taken_back = new_dial(client), new_dial(client, blind=True), new_dial(client, blind=True)
        for k, dial in enumerate((seen, blind, taken_back)):
            add(client, dial, b"photograph %d" % k)
            settled(client, dial)
        say(seen, "painted")
        assert _told(client.desk.files)["n"] == 0  # the call stood beside it
        say(blind, "printed")
        say(blind, "printed", "numerals")
        reply = client.get("/agreement").json()["agreement"]
        assert all(part["n"] == 0 for part in reply)  # still kept back: nothing may be gathered of it
        client.post(f"/dials/{blind}/show", json={})
        assert (_told(client.desk.files)["n"], _told(client.desk.files)["alike"]) == (1, 0)
        assert _told(client.desk.files, "numerals")["alike"] == 1
        say(blind, "painted")  # after the call was seen: the first opinion counts
        assert (_told(client.desk.files)["n"], _told(client.desk.files)["opposed"]) == (1, 1)
        say(taken_back, "painted")
        say(taken_back, "", "dial")
        say(taken_back, "painted", "numerals")
        assert _told(client.desk.files)["n"] == 1
