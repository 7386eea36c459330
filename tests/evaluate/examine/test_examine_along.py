"""Dials taken along and brought in: all comes back, nothing is doubled, and what a file says is not believed."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import zipfile
from types import SimpleNamespace

import pytest
from examine_asked import TELLTALES, add, asked, new_dial, settled

from dialtell.evaluate.examine.taken_along import COLUMNS, SCHEMA

FORM = {"Content-Type": "application/octet-stream"}


def worked(client):
    """Two dials with everything: fields, two photographs, a mark, opinions, a call kept back of the second."""
    first = new_dial(client)
    shas = [add(client, first, b"photograph %d" % k, f"photo {k}.jpg")["sha256"] for k in range(2)]
    settled(client, first)
    client.post(f"/photographs/{shas[0]}/mark", json={"twelve_deg": 7.0})
    hand = {"what": "hand", "polygon": [[10, 10], [30, 10], [30, 40]], "by": "Anna"}
    client.post(f"/photographs/{shas[0]}/places", json=hand)
    settled(client, first)
    said = {"name": "=First", "maker": "Invented & Sons", "year": 1884, "size": 16, "notes": 'a\n"b"', "price": "£3"}
    client.post(f"/dials/{first}", json=said)
    client.post(f"/dials/{first}/opinion", json={"zone": "numerals", "label": "printed"})
    settled(client, first)
    second = new_dial(client, blind=True)
    add(client, second, b"another")
    settled(client, second)
    client.post(f"/dials/{second}/opinion", json={"zone": "dial", "label": "painted"})
    return first, second


def seen(client):
    """Every dial as the page is told it, numbers of readings left out."""
    told = []
    for row in client.get("/dials").json()["dials"]:
        dial = settled(client, row["id"])
        for photo in dial["photographs"]:
            photo.pop("reading")
            photo.pop("undo")  # what was changed before does not come along
        told.append({name: value for name, value in dial.items() if name not in ("id", "marker")})
    return told


@pytest.fixture
def away(tmp_path):
    """What was seen where the dials were, and their files."""
    with asked(tmp_path / "there") as client:
        worked(client)
        files = {form: client.get(f"/along/dials.{form}") for form in ("zip", "json", "csv")}
        assert all(reply.status_code == 200 for reply in files.values())
        assert files["zip"].headers["content-disposition"] == 'attachment; filename="dials.zip"'
        return seen(client), {form: reply.content for form, reply in files.items()}


def bring(client, content, status=201):
    reply = client.post("/brought", content=content, headers=FORM)
    assert reply.status_code == status, reply.text
    return reply.json()


def counted(client):
    names = ("dial", "photo", "reading", "together", "opinion")
    with client.desk.files.opened() as dials:
        assert dials.faults() == []
        return {name: dials.rows(f"SELECT count(*) AS n FROM examined_{name}", [])[0]["n"] for name in names}


def test_a_zip_makes_an_empty_machine_the_same(away, tmp_path):
    told, files = away
    with asked(tmp_path / "here") as client:
        assert bring(client, files["zip"]) == {"dials": 2, "known": 0, "photographs": 3, "missing": 0, "elsewhere": 0}
        assert seen(client) == told
        before, read = counted(client), [name for name, _ in client.desk.asked]
        # only what was kept back was read anew
        assert read.count("read") == 1 and "read_together" not in read
        assert bring(client, files["zip"]) == {"dials": 0, "known": 2, "photographs": 0, "missing": 0, "elsewhere": 0}
        assert seen(client) == told and counted(client) == before
        photos = sorted((client.desk.files.folder / "photographs").iterdir())
        assert sorted(path.read_bytes() for path in photos) == [b"another", b"photograph 0", b"photograph 1"]
        # and what is taken along from here is the same again
        assert _dials(client.get("/along/dials.zip").content) == _dials(files["zip"])


def _dials(content):
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        return {name: json.loads(archive.read(name)) for name in archive.namelist() if name.endswith(".json")}


def test_what_is_kept_back_is_in_no_file(tmp_path):
    with asked(tmp_path / "dials") as client:
        dial = new_dial(client, blind=True)
        add(client, dial)
        settled(client, dial)
        for form in ("zip", "json", "csv"):
            content = client.get(f"/along/dials.{form}").content
            if form == "zip":
                with zipfile.ZipFile(io.BytesIO(content)) as archive:
                    content = b"".join(map(archive.read, archive.namelist()))
            assert not [word for word in TELLTALES if word.encode() in content]


def test_no_file_names_a_place_of_this_machine(away, tmp_path):
    with zipfile.ZipFile(io.BytesIO(away[1]["zip"])) as archive:
        everything = b"".join(map(archive.read, archive.namelist())) + away[1]["json"] + away[1]["csv"]
    assert str(tmp_path).encode() not in everything


def test_json_brings_all_but_the_photographs(away, tmp_path):
    told, files = away
    with asked(tmp_path / "here") as client:
        assert bring(client, files["json"]) == {"dials": 2, "known": 0, "photographs": 0, "missing": 3, "elsewhere": 0}
        names = ("name", "maker", "serial", "year", "size", "size_as", "price", "notes", "opinions", "blind")
        assert [{name: dial[name] for name in names} for dial in seen(client)] == [
            {name: dial[name] for name in names} for dial in told
        ]
        assert bring(client, files["zip"])["photographs"] == 3  # which come later
        assert [len(dial["photographs"]) for dial in seen(client)] == [1, 2]


def test_a_table_brings_the_fields(away, tmp_path):
    told, files = away
    assert files["csv"].decode().splitlines()[0].split(",") == list(COLUMNS)
    with asked(tmp_path / "here") as client:
        bring(client, files["csv"])
        names = ("maker", "year", "size", "size_as", "price")
        assert {name: seen(client)[1][name] for name in names} == {name: told[1][name] for name in names}
        assert seen(client)[1]["name"] == "=First"
        assert bring(client, files["csv"]) == {"dials": 0, "known": 2, "photographs": 0, "missing": 0, "elsewhere": 0}
    with asked(tmp_path / "own") as client:  # a dealer's own list, twice
        for fresh in (2, 0):
            assert bring(client, b"maker,serial\nInvented,1\nInvented,2\n")["dials"] == fresh


def test_fields_that_are_there_stay(away, tmp_path):
    with asked(tmp_path / "here") as client:
        bring(client, away[1]["json"])
        number = client.get("/dials", params={"text": "first"}).json()["dials"][0]["id"]
        client.post(f"/dials/{number}", json={"maker": "Other", "price": ""})
        bring(client, away[1]["json"])
        told = client.get(f"/dials/{number}").json()
        assert (told["maker"], told["price"]) == ("Other", "£3")


def test_a_photograph_that_lies_under_another_dial_stays_there(away, tmp_path):
    with asked(tmp_path / "here") as client:
        mine = new_dial(client)
        add(client, mine, b"another")
        assert bring(client, away[1]["zip"])["elsewhere"] == 1
        assert len(settled(client, mine)["photographs"]) == 1
        assert len(list((client.desk.files.folder / "photographs").iterdir())) == 3


# --- hostile ---


def _zipped(parts):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return content.getvalue()


def _dial(**other):
    return {"schema": SCHEMA, "id": "a" * 32} | other


def _photo(content, **other):
    sha256 = hashlib.sha256(content).hexdigest()
    return {"sha256": sha256, "file": f"{sha256}.jpg", "name": "a.jpg", "added_at": "2026-01-01T00:00:00+00:00",
            "likeness": None, "marked": {}, "readings": []} | other  # fmt: skip


@pytest.mark.parametrize(
    "content",
    [b"PK", b"PK\x03\x04" + b"x" * 100, b"", b"{", b"\xff\xfe", b"{" * 100_000, b'{"schema": "other"}', b"a,b\n1,2\n",
     b'{"schema": "dialtell.examined/1", "dials": [1]}', _zipped({}), _zipped({f"dials/{'a' * 32}.json": "[]"}),
     _zipped({f"dials/{'a' * 32}.json": json.dumps(_dial(id="../../x"))})],
)  # fmt: skip
def test_files_of_another_form_are_refused_in_words(tmp_path, content):
    with asked(tmp_path / "dials") as client:
        reply = client.post("/brought", content=content, headers=FORM)
        assert reply.status_code in (400, 422) and reply.json()["error"] and "internal" not in reply.json()["error"]
        assert set(counted(client).values()) == {0}


@pytest.mark.parametrize(
    "other",
    [{"year": 99999}, {"size_mm": 1e9}, {"size_as": "feet"}, {"name": "x" * 9000}, {"maker": {"a": 1}},
     {"opinions": [{"zone": "other", "label": "painted", "call_shown": 0, "noted_at": "2026-01-01"}]},
     {"opinions": [{"zone": "dial", "label": "painted", "call_shown": 0, "noted_at": "soon"}]},
     {"opinions": 5}, {"photographs": [{}]}, {"photographs": [_photo(b"x", sha256="../x")]},
     {"photographs": [_photo(b"x", marked={"outline": [1]})]}, {"photographs": [_photo(b"x", readings=[{}])]},
     {"photographs": [_photo(b"x", readings=[{"made_at": "2026-01-01", "marked": {}, "weights": "w 1",
      "weights_sha256": "0" * 64, "document": {"call": "<b>", "zones": []}}])]}],
)  # fmt: skip
def test_dials_of_another_form_are_refused_in_words(tmp_path, other):
    with asked(tmp_path / "dials") as client:
        content = json.dumps({"schema": SCHEMA, "dials": [_dial(**other)]}).encode()
        assert client.post("/brought", content=content, headers=FORM).status_code == 422
        assert set(counted(client).values()) == {0}


def test_names_in_a_zip_lead_nowhere(tmp_path):
    content = b"photograph"
    photo = _photo(content, file="../../../etc/cron.d/x.jpg", name="../../<b>x.jpg")
    zipped = _zipped({
        f"dials/{'a' * 32}.json": json.dumps(_dial(photographs=[photo])),
        f"photographs/../../{photo['sha256']}.jpg": content, "../../outside": "x", "/outside": "x",
        "dials/../../x.json.txt": "x",
    })  # fmt: skip
    (tmp_path / "deep").mkdir()
    with asked(tmp_path / "deep" / "dials") as client:
        assert bring(client, zipped)["photographs"] == 1
        kept = [path for path in tmp_path.rglob("*") if path.is_file()]
        assert all((tmp_path / "deep" / "dials") in path.parents for path in kept)
        assert [path.name for path in (client.desk.files.folder / "photographs").iterdir()] == [
            f"{photo['sha256']}.jpg"
        ]


def test_a_photograph_of_other_bytes_is_not_taken(tmp_path):
    photo = _photo(b"what it should be")
    zipped = _zipped({f"dials/{'a' * 32}.json": json.dumps(_dial(photographs=[photo])),
                      f"photographs/{photo['sha256']}.jpg": b"what it is"})  # fmt: skip
    with asked(tmp_path / "dials") as client:
        assert bring(client, zipped)["missing"] == 1
        assert not list((client.desk.files.folder / "photographs").iterdir())


def test_a_zip_that_would_fill_the_disk_is_refused(tmp_path, monkeypatch):
    zipped = _zipped({f"dials/{'a' * 32}.json": json.dumps(_dial()), "photographs/x": b"0" * 5_000_000})
    assert len(zipped) < 20_000
    with asked(tmp_path / "dials") as client:
        monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=1_000_000))
        assert "room" in bring(client, zipped, 422)["error"]
        assert set(counted(client).values()) == {0}


def test_a_dial_too_large_is_refused_before_it_is_unpacked(tmp_path):
    with asked(tmp_path / "dials") as client:
        zipped = _zipped({f"dials/{'a' * 32}.json": b" " * (65 * 2**20)})
        assert len(zipped) < 100_000 and "too large" in bring(client, zipped, 422)["error"]


def test_what_could_not_be_read_together_when_it_ended_is_at_the_next_start(tmp_path):
    with asked(tmp_path / "dials") as client:
        dial = new_dial(client)
        for k in range(2):
            add(client, dial, b"photograph %d" % k)
        settled(client, dial)
        with client.desk.files.opened() as dials, dials._change() as base:  # as a kill before it was kept leaves it
            base.execute("DELETE FROM examined_together")
            base.execute("DELETE FROM examined_standing")
    with asked(tmp_path / "dials") as client:
        assert settled(client, dial)["together"]
