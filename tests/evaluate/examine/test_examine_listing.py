"""The list of dials: filters find what they name, and nothing that is kept back; ten thousand are no burden."""

from __future__ import annotations

import time
from collections import Counter

import pytest
from examine_asked import add, asked, new_dial, settled
from trials.speed.examine_filled import BLIND, filled

from dialtell.evaluate.examine.listing import CALLS, KEPT, PAGE, Wanted, page_of, wanted_of
from dialtell.synth.shared.errors import ParameterError


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    return filled(tmp_path_factory.mktemp("many") / "dials", 10_000)


def test_pages_hold_every_dial_once(files):
    with files.opened() as dials:
        pages = [page_of(dials, Wanted(start=start)) for start in range(0, 10_000, PAGE)]
    numbers = [row["id"] for page in pages for row in page["dials"]]
    assert numbers == list(range(10_000, 0, -1))
    with files.opened() as dials:  # past the end is the last page
        assert page_of(dials, Wanted(start=99_999_999))["start"] == 9_960


@pytest.mark.parametrize("zone", ["dial", "numerals"])
def test_filters_agree_with_looking_at_each(files, zone):
    with files.opened() as dials:
        rows = dials.rows(
            "SELECT d.*, s.call FROM examined_dial d JOIN examined_standing s ON s.dial = d.id AND zone = ?", [zone]
        )
        for call in CALLS:
            for text, decade in (("", None), ("hairline", 1880), ("INVENTED 7 ", 0)):
                wanted = Wanted(text, call, zone, decade)
                told = page_of(dials, wanted)
                expected = [
                    row["id"] for row in rows
                    if row["call"] == call and (row["id"] - 1) % BLIND
                    and all(word in f"{row['maker']}\n{row['serial']}\n{row['year']}\n{row['notes']}".lower()
                            for word in text.lower().split())
                    and (decade is None or (row["year"] or 0) // 10 * 10 == decade)
                ]  # fmt: skip
                assert told["total"] == len(expected) > 0
                assert [row["id"] for row in told["dials"]] == sorted(expected, reverse=True)[:PAGE]


def test_the_map_agrees_with_looking_at_each(files):
    """Dials by year and call, of any year, as the other filters want them; what is kept back is counted apart."""
    with files.opened() as dials:
        rows = dials.rows("SELECT d.*, s.call FROM examined_dial d JOIN examined_standing s ON s.dial = d.id "
                          "WHERE s.zone = 'numerals'", [])  # fmt: skip
        for text, call, decade in (("", None, None), ("hairline", None, 1880), ("invented 7 ", "printed", 0)):
            wanted = Wanted(text, call, "numerals", decade)
            told = page_of(dials, wanted)
            kept = [bool((row["id"] - 1) % BLIND == 0) for row in rows]
            expected = Counter(
                (row["year"] or 0, KEPT if back else row["call"])
                for row, back in zip(rows, kept, strict=True)
                if all(word in row["words"] for word in text.split())
                and (call is None or (not back and row["call"] == call))
            )
            assert {(year, said): n for year, said, n in told["years"]} == expected
            of = [n for year, _, n in told["years"] if decade is None or year // 10 * 10 == decade]
            assert told["total"] == sum(of) > 0
    assert sum(n for _, n in told["decades"]) == told["of"] == 10_000


def test_no_search_tells_what_is_kept_back(tmp_path):
    with asked(tmp_path / "dials") as client:
        dial = new_dial(client, blind=True)
        add(client, dial)
        settled(client, dial)
        for call in CALLS:
            assert client.get("/dials", params={"call": call}).json()["total"] == 0
        told = client.get("/dials").json()
        row = told["dials"][0]
        assert row["kept_back"] and row["call"] is None and told["years"] == [[0, KEPT, 1]]
        client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "painted"})
        client.post(f"/dials/{dial}/show", json={})
        assert client.get("/dials", params={"call": "hand-painted"}).json()["total"] == 1
        assert client.get("/dials", params={"call": "printed", "zone": "numerals"}).json()["total"] == 1
        assert client.get("/dials", params={"call": "printed"}).json()["total"] == 0


def test_the_list_follows_what_is_read_anew(tmp_path):
    with asked(tmp_path / "dials") as client:
        dial = new_dial(client)
        sha256 = add(client, dial)["sha256"]
        settled(client, dial)
        with client.desk.files.opened() as dials:
            dials.mark(sha256, {"twelve_deg": 3.0})
            assert page_of(dials, Wanted(call="hand-painted"))["total"] == 0
        assert client.get("/dials").json()["dials"][0]["waiting"] == 1


@pytest.mark.parametrize(
    "given", [{"call": "fake"}, {"zone": "other"}, {"decade": "x"}, {"start": "-1"}, {"start": "9" * 30}]
)
def test_what_cannot_be_asked_is_said(given):
    with pytest.raises(ParameterError, match=next(iter(given))):
        wanted_of(given)


def test_ten_thousand_dials_are_no_burden(files):
    """A page of the list, by the processor's own time, in the worst of the ways to ask for it."""
    worst = 0.0
    for wanted in (Wanted(), Wanted(start=9_960), Wanted("invented & sons 7"), Wanted("nothing of it"),
                   Wanted("hairline", "printed", "numerals", 1880)):  # fmt: skip
        spans = []
        for _ in range(3):
            begun = time.process_time()
            with files.opened() as dials:
                page_of(dials, wanted)
            spans.append(time.process_time() - begun)
        worst = max(worst, min(spans))
    assert worst < 0.1


def test_a_list_waits_for_nobody_who_writes(tmp_path):
    """Sixty small pictures are asked for at once, each with the file opened anew, while readings are being kept."""
    files = filled(tmp_path / "dials", 5)
    with files.opened() as writer, writer._change():
        begun = time.monotonic()
        with files.opened() as dials:
            assert page_of(dials, Wanted())["total"] == 5
        assert time.monotonic() - begun < 5  # the file's own patience is a minute


def test_a_dial_set_aside_is_off_the_list_and_not_lost(tmp_path):
    with asked(tmp_path / "dials") as client:
        first, second = new_dial(client), new_dial(client)
        assert client.post(f"/dials/{first}", json={"aside": True}).json()["aside"]
        told = client.get("/dials").json()
        assert ([row["id"] for row in told["dials"]], told["of"], told["aside"]) == ([second], 1, 1)
        assert [row["id"] for row in client.get("/dials", params={"aside": "1"}).json()["dials"]] == [first]
        along = client.get("/along/dials.zip").content
        assert client.post(f"/dials/{first}", json={"aside": "yes"}).status_code == 400
        client.post(f"/dials/{first}", json={"aside": False})
        assert client.get("/dials").json()["of"] == 2
    with asked(tmp_path / "there") as client:
        client.post("/brought", content=along, headers={"Content-Type": "application/octet-stream"})
        assert client.get("/dials").json()["aside"] == 1
