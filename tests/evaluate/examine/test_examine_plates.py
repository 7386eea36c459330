"""Dials of an examination laid on each other: kept as the command line keeps it, nothing told of what is kept back."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
from checkout import ROOT
from examine_asked import add, asked, new_dial, settled

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.compare.findings import ONE_PLATE
from dialtell.evaluate.examine import plates, work
from dialtell.evaluate.examine.desk import Desk
from dialtell.evaluate.examine.kept_files import COLLECTION

EXAMPLES = ROOT / "evaluate" / "examples"
PAINTED, PRINTED = ((EXAMPLES / name).read_bytes() for name in ("painted.jpg", "printed-transfer.jpg"))


class Here(Desk):
    """A desk whose work is done in this process."""

    async def _run(self, slot, function, *values):
        return function(*values)


def laid(client, **asked_for):
    """What is found when no more is to be laid."""
    end = time.monotonic() + 120
    while (found := client.get("/plates", params=asked_for).json())["busy"]:
        assert time.monotonic() < end, found
        time.sleep(0.02)
    return found


def pairs(found):
    return {tuple(sorted(dial["id"] for dial in row["dials"])): row["finding"] for row in found["rows"]}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Dials 1 to 4: painted, twice photographed; printed; painted again, all but its bytes; printed, its call kept
    back."""
    place = tmp_path_factory.mktemp("plates") / "dials"
    work.begin(None)
    with asked(place, Here) as client:
        for content, blind in ((PAINTED, False), (PRINTED, False), (PAINTED + b"2", False), (PRINTED + b"2", True)):
            dial = new_dial(client, blind=blind)
            add(client, dial, content, f"photo {dial}.jpg")
        add(client, 1, PAINTED + b"again", "once more.jpg")
        for dial in (1, 2, 3, 4):
            assert [photo["state"] for photo in settled(client, dial, 120)["photographs"]] in (["read"], ["read"] * 2)
    return place


def test_what_is_asked_wrongly_is_refused(folder):
    with asked(folder, Here) as client:
        for body, status in (({"dials": [1]}, 400), ({"dials": list(range(1, 23))}, 400), ({"dials": "1,2"}, 400),
                             ({"dials": [1, -2]}, 400), ({"dials": [1, True]}, 400), ({"dials": [1, [2]]}, 400),
                             ({"dials": [1.5, 2]}, 400), ({"dials": {"1": 2}}, 400)):  # fmt: skip
            assert client.post("/plates", json=body).status_code == status, body
        assert client.get("/plates", params={"dials": "1,x"}).status_code == 400
        assert laid(client)["laid"] == 0


def test_dials_are_laid_on_each_other_and_kept_for_the_command_line(folder, capsys):
    with asked(folder, Here) as client:
        # two that are chosen, however unlike
        assert client.post("/plates", json={"dials": [1, 2]}).status_code == 200
        found = laid(client, dials="1,2", every="1")
        assert list(pairs(found)) == [(1, 2)] and found["laid"] == 1 and found["errors"] == []
        assert found["said"].startswith("Two dials were laid on each other: ")
        assert found["now"] == "1 pair was laid on each other now."
        assert laid(client, dials="2,3", every="1")["laid"] == 0  # of other dials nothing is known yet

        # all of like design; the photographs of one dial are not laid on each other
        client.post("/plates", json={})
        found = laid(client, every="1")
        assert set(pairs(found)) == {(1, 2), (1, 3), (2, 3)} and found["laid"] == 3
        assert found["now"] == "2 pairs were laid on each other now."  # not that of before
        assert pairs(found)[1, 3] == ONE_PLATE
        row = next(row for row in found["rows"] if row["finding"] == ONE_PLATE)
        assert "perhaps one dial" in row["note"] and row["support"].endswith("for one plate")
        assert (
            found["said"].startswith("Of 3 pairs of dials laid on each other, one plate fits both dials of ")
            and found["kept_back"] == 1
        )
        assert found["rows"][0] == row  # the likeliest first
        apart = {two for two, finding in pairs(found).items() if finding not in (ONE_PLATE, "cannot tell")}
        assert set(pairs(laid(client))) == set(pairs(found)) - apart

        client.post("/plates", json={})
        assert laid(client)["now"] == "There was nothing new to lay on each other."
    assert main(["collection", "plates", str(folder / COLLECTION), "--most", "0", "--all", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert sorted(pair["finding"] for pair in document["pairs"]) == sorted(pairs(found).values())


def test_a_dial_whose_call_is_kept_back_is_laid_on_none(folder):
    with asked(folder, Here) as client:
        client.post("/plates", json={"dials": [2, 4]})
        found = laid(client, dials="2,4", every="1")
        assert found["rows"] == [] and "dial 4 is laid on none" in found["errors"][0]
        before = laid(client, every="1")
        with CollectionFile(
            folder / COLLECTION
        ) as collection:  # as the command line may have done, which knows no dials
            two = sorted(
                entry.id for entry in collection.entries() if entry.path.read_bytes() in (PRINTED, PRINTED + b"2")
            )
            finding = {
                "first": two[0], "second": two[1], "test": "x", "finding": ONE_PLATE, "log10_lr": 2.0, "places": 9,
                "matched": 9, "stray": 0.0, "reason": "Sentinel.",
            }  # fmt: skip
            assert collection.keep_pair(finding)
        after = laid(client, every="1")
        assert after == before and not any(4 in two for two in pairs(after))


def test_a_folder_that_was_moved_is_no_hindrance_and_one_that_is_gone_is_named(folder, tmp_path, monkeypatch):
    moved = folder.rename(tmp_path / "moved")
    monkeypatch.setattr("dialtell.evaluate.collection.plates.REGISTRATION", "another")  # so that all is to be laid anew
    try:
        with asked(moved, Here) as client:
            client.post("/plates", json={"dials": [1, 2]})
            found = laid(client, dials="1,2", every="1")
            assert found["errors"] == [] and found["now"] == "1 pair was laid on each other now."
            (photo,) = [
                photo for photo in client.get("/dials/3").json()["photographs"] if photo["name"] == "photo 3.jpg"
            ]
            kept = client.desk.files.photograph(f"{photo['sha256']}.jpg")
            away = kept.rename(tmp_path / "away.jpg")
            client.post("/plates", json={"dials": [2, 3]})
            found = laid(client, dials="2,3")
            assert found["errors"] == [
                "photo 3.jpg is no longer there; add it again from its new place, its history is kept"
            ]
            away.rename(kept)
    finally:
        moved.rename(folder)


def test_only_one_asking_at_a_time_and_it_can_be_stopped(folder, monkeypatch):
    monkeypatch.setattr("dialtell.evaluate.collection.plates.REGISTRATION", "a third")
    monkeypatch.setattr(plates, "_AT_ONCE", 1)

    class Slow(Here):
        async def _run(self, slot, function, *values):
            import asyncio

            await asyncio.sleep(0.3)
            return function(*values)

    with asked(folder, Slow) as client:
        assert client.post("/plates", json={}).status_code == 200
        assert client.post("/plates", json={"dials": [1, 2]}).status_code == 409
        assert client.post("/plates/stop", json={}).status_code == 200
        found = laid(client)
        assert found["now"].startswith("Stopped.") and not found["busy"]
        assert client.post("/plates", json={"dials": [1, 2]}).status_code == 200
        assert laid(client, dials="1,2", every="1")["laid"] == 1
