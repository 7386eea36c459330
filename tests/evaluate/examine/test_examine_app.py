"""The examination's application: who may ask, what is kept, what is kept back."""

from __future__ import annotations

import asyncio
import hashlib
import json
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from examine_asked import ORIGIN, PORT, TELLTALES, StandIn, add, asked, new_dial, settled

from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.examine.desk import LONGEST_WAIT_S
from dialtell.evaluate.examine.kept_files import COLLECTION, KeptFiles
from dialtell.evaluate.examine.record import ExaminedDials
from dialtell.evaluate.serving.doors import LARGEST_BODY
from dialtell.model.reading.known import MOST_PLACES

FORM = {"Content-Type": "application/octet-stream"}


@pytest.fixture
def client(tmp_path):
    with asked(tmp_path / "dials") as client:
        yield client


# --- who may ask ---


def test_token_in_the_address_becomes_a_cookie(client):
    token = client.token
    client.cookies.clear()
    reply = client.get("/", params={"token": token})
    assert (reply.status_code, reply.headers["location"]) == (303, "/")
    assert reply.headers["set-cookie"] == f"dialtell-examine-{PORT}={token}; Path=/; HttpOnly; SameSite=Strict"
    assert client.get("/").status_code == 200
    client.cookies.clear()
    assert client.get("/", params={"token": "wrong"}).status_code == 403
    assert client.get("/dials", params={"token": token}).status_code == 403


def test_without_the_token_nothing_is_answered(client):
    dial = new_dial(client)
    client.cookies.clear()
    for path in ("/", "/examine.js", "/state", "/dials", f"/dials/{dial}", "/nothing"):
        reply = client.get(path)
        assert reply.status_code == 403 and "token" in reply.json()["error"] and client.token not in reply.text
    assert client.post(f"/dials/{dial}/photographs", content=b"x", headers=FORM).status_code == 403
    assert not list((client.desk.files.folder / "photographs").iterdir())


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", f"localhost.evil.example:{PORT}"])
def test_other_names_of_this_server_are_refused(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 421
    assert client.get("/", params={"token": client.token}, headers={"Host": host}).status_code == 421
    assert client.post("/dials", json={}, headers={"Host": host}).status_code == 421
    assert client.get("/", headers={"Host": f"localhost:{PORT}"}).status_code == 200


@pytest.mark.parametrize("origin", [None, "null", "https://evil.example", "http://127.0.0.1:1"])
def test_writes_from_other_pages_are_refused(client, origin):
    dial = new_dial(client)
    if origin is None:
        del client.headers["Origin"]
    else:
        client.headers["Origin"] = origin
    assert client.post("/dials", json={}).status_code == 403
    assert client.post(f"/dials/{dial}/photographs", content=b"x", headers=FORM).status_code == 403
    client.headers["Origin"] = ORIGIN
    assert len(client.get("/dials").json()["dials"]) == 1


def test_bodies_of_another_form_or_size_are_refused(client):
    dial = new_dial(client)
    for form in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        assert client.post(f"/dials/{dial}", content=b"{}", headers={"Content-Type": form}).status_code == 415
        assert (
            client.post(f"/dials/{dial}/photographs", content=b"x", headers={"Content-Type": form}).status_code == 415
        )
    form = {"Content-Type": "application/json"}
    for body in (b"", b"{", b"[]", b"[" * 60_000, b"\xff"):
        assert client.post(f"/dials/{dial}", content=body, headers=form).status_code == 400
    assert client.post(f"/dials/{dial}", content=b" " * (LARGEST_BODY + 1), headers=form).status_code == 413
    assert client.post(f"/dials/{dial}/photographs", content=b"", headers=FORM).status_code == 400


@pytest.mark.parametrize(
    "path",
    ["/pictures/../dials.collection", "/pictures/" + "0" * 63, "/pictures/" + "g" * 64, "/thumbnails/a.jpg",
     "/dials.collection", "/examine.html", "/dials/", "/dials/-1", "/photographs/%2e%2e%2fdials.collection"],
)  # fmt: skip
def test_nothing_is_asked_by_path(client, path):
    reply = client.get(path)
    assert reply.status_code == 404 and reply.json() == {"error": "there is nothing here"}


def test_every_answer_carries_the_policy(client):
    for path in ("/", "/examine.js", "/state", "/nothing", "/dials/99"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert (headers["x-content-type-options"], headers["cache-control"]) == ("nosniff", "no-store")
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert "access-control-allow-origin" not in headers


def test_the_page_asks_nothing_of_elsewhere(client):
    text = "".join(client.get(path).text for path in ("/", "/examine.js", "/examine.css"))
    assert "innerHTML" not in text and "eval(" not in text
    assert set(part.split('"')[0] for part in text.split("http://")[1:]) == {"www.w3.org/2000/svg"}
    assert "https://" not in text


# --- photographs ---


def test_a_photograph_is_kept_by_its_content_and_read(client):
    dial, content = new_dial(client), b"photograph one"
    sha256 = hashlib.sha256(content).hexdigest()
    assert add(client, dial, content, "../../odd <b>.JPG") == {"sha256": sha256, "dial": dial}
    place = client.desk.files.folder / "photographs" / f"{sha256}.jpg"
    assert place.read_bytes() == content
    told = settled(client, dial)
    photo = told["photographs"][0]
    assert (photo["name"], photo["state"], photo["width"], photo["height"]) == ("../../odd <b>.JPG", "read", 100, 80)
    assert told["call"]["call"] == "hand-painted" and told["call"]["zones"]["numerals"]["call"] == "printed"
    assert client.get(f"/thumbnails/{sha256}").content == b"thumbnail"
    assert client.get(f"/pictures/{sha256}").content == b"view"
    assert client.get(f"/pictures/{sha256}/full").content == b"full"
    assert client.get(f"/pictures/{'0' * 64}/full").status_code == 422
    with CollectionFile(client.desk.files.collection) as collection:  # `dialtell collection list` sees it
        entry = next(collection.entries())
    assert (entry.sha256, entry.path, entry.call) == (sha256, place, "hand-painted")


def test_the_same_photograph_is_kept_once(client):
    first, second = new_dial(client), new_dial(client)
    assert add(client, first)["dial"] == first
    assert add(client, first, name="other.png")["dial"] == first
    assert add(client, second)["dial"] == first
    assert len(settled(client, first)["photographs"]) == 1 and not settled(client, second)["photographs"]
    assert len(list((client.desk.files.folder / "photographs").iterdir())) == 1


def test_a_bad_photograph_is_said_in_words_and_stops_nothing(client):
    dial = new_dial(client)
    add(client, dial, b"bad", "broken.heic")
    add(client, dial, b"good", "good.heic")
    told = settled(client, dial)
    bad, good = told["photographs"]
    assert told["call"]["call"] == "hand-painted" and not told["together"]
    assert (bad["state"], good["state"]) == ("failed", "read")
    assert bad["error"] == "broken.heic is not an image; give a photograph"
    assert str(client.desk.files.folder) not in bad["error"]


def test_several_photographs_become_one_opinion(client):
    dial = new_dial(client)
    for number in range(3):
        add(client, dial, b"photograph %d" % number)
    told = settled(client, dial)
    assert told["together"] and told["call"]["reason"] == "Sentinel of 3."
    assert told["call"]["warnings"] == ["Sentinel a.jpg differs."]  # as the person calls it
    add(client, dial, b"photograph 4")
    assert settled(client, dial)["call"]["reason"] == "Sentinel of 4."


def test_what_was_left_unread_is_read_at_the_next_start(tmp_path):
    files = KeptFiles(tmp_path / "dials")
    files.prepare()
    place = files.photograph("a" * 64 + ".jpg")
    place.write_bytes(b"photograph")
    with files.opened() as dials:
        dial = dials.new_dial(blind=False)
        dials.take(dial, "a" * 64, place.name, "a.jpg")
    with asked(tmp_path / "dials") as client:
        assert settled(client, dial)["photographs"][0]["state"] == "read"


def test_news_is_told_at_once_and_its_absence_soon(client):
    version = client.get("/state").json()["version"]
    begun = time.monotonic()
    assert client.get("/state", params={"version": version}).json()["version"] == version
    assert 0.9 * LONGEST_WAIT_S < time.monotonic() - begun < LONGEST_WAIT_S + 5
    for other in (version - 1, "", "x", "9" * 5000):
        begun = time.monotonic()
        assert client.get("/state", params={"version": other}).json()["version"] == version
        assert time.monotonic() - begun < 0.9 * LONGEST_WAIT_S
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(lambda: client.get("/state", params={"version": version}).json()["version"])
        time.sleep(0.05)
        new_dial(client)
        assert waiting.result() == version + 1


# --- marking ---


def test_a_dragged_outline_is_read_anew_and_kept_as_the_persons(client):
    dial = new_dial(client)
    sha256 = add(client, dial)["sha256"]
    assert settled(client, dial)["photographs"][0]["geometry"]["center_px"] == [50, 40]
    marked = {"outline": [55.0, 44.0, 28.0, 25.0, 10.0], "twelve_deg": 12.5}
    assert client.post(f"/photographs/{sha256}/mark", json=marked).status_code == 200
    photo = settled(client, dial)["photographs"][0]
    assert photo["geometry"]["center_px"] == [55, 44] and photo["geometry"]["rotation_deg"] == 12.5
    assert photo["marked"] == marked
    with client.desk.files.opened() as dials:
        before, after = dials.readings(sha256)
        assert (before["marked"], after["marked"]) == ({}, marked)
        entry = next(dials.entries())
    assert entry.document["known"]["outline"] == marked["outline"]  # a later `collection rescore` begins from it


@pytest.mark.parametrize(
    "marked",
    [{"outline": [1, 2, 3]}, {"outline": "x"}, {"outline": [1, 1, 2, 3, 0, 0]}, {"twelve_deg": 1e9},
     {"twelve_deg": "x"}, {"close_up": True, "outline": [50, 40, 30, 30, 0]}],
)  # fmt: skip
def test_marks_out_of_range_change_nothing(client, marked):
    dial = new_dial(client)
    sha256 = add(client, dial)["sha256"]
    settled(client, dial)
    assert client.post(f"/photographs/{sha256}/mark", json=marked).status_code == 422
    assert settled(client, dial)["photographs"][0]["marked"] == {}


HAND = {"what": "hand", "polygon": [[10, 10], [30, 10], [30, 40]], "by": "Anna"}


def photo_of(client, dial):
    return settled(client, dial)["photographs"][0]


def test_marked_places_are_kept_as_the_persons_undone_and_cleared(client):
    dial = new_dial(client)
    place = f"/photographs/{add(client, dial)['sha256']}"
    assert photo_of(client, dial)["places"] == [] and not photo_of(client, dial)["undo"]
    assert client.post(f"{place}/places", json=HAND).status_code == 200
    (hand,) = photo_of(client, dial)["places"]
    assert {name: hand[name] for name in HAND} == HAND and hand["at"].startswith("20")
    assert client.get(f"/dials/{dial}").json()["marker"] == "Anna"
    # the outline is another matter: each stays when the other changes
    client.post(f"{place}/mark", json={"twelve_deg": 12.5})
    client.post(f"{place}/places", json={**HAND, "what": "minute track", "by": ""})
    photo = photo_of(client, dial)
    assert [one["what"] for one in photo["places"]] == ["hand", "minute track"] and photo["marked"] == {
        "twelve_deg": 12.5
    }
    # one taken away, all, and both taken back
    client.post(f"{place}/places/drop", json={"at": hand["at"]})
    assert [one["what"] for one in photo_of(client, dial)["places"]] == ["minute track"]
    client.post(f"{place}/places/clear", json={})
    assert photo_of(client, dial)["places"] == []
    for left in (["minute track"], ["hand", "minute track"], ["hand"], [], []):
        assert client.post(f"{place}/places/undo", json={}).status_code == 200
        assert [one["what"] for one in photo_of(client, dial)["places"]] == left
    assert not photo_of(client, dial)["undo"]
    with client.desk.files.opened() as dials:
        assert len(dials.rows("SELECT * FROM examined_places WHERE undone_at IS NOT NULL", [])) == 4  # nothing is lost
        said = [reading["document"]["known"].get("places", []) for reading in dials.readings(place.split("/")[-1])]
    assert said[0] == [] and [hand] in said and said[-1] == []


@pytest.mark.parametrize(
    ("path", "body"),
    [("places", {**HAND, "what": "thumb"}), ("places", {**HAND, "what": None}), ("places", {"what": "hand"}),
     ("places", {**HAND, "polygon": [[1, 1]] * 81}), ("places", {**HAND, "polygon": [[1, 1], [2, 2], [1e9, 2]]}),
     ("places", {**HAND, "polygon": [[1, 1], [2, 2], {"x": 1}]}), ("places", {**HAND, "by": 7}),
     ("places", {**HAND, "by": "x" * 101}), ("places", {**HAND, "by": "\ud800"}), ("places/clear", {"by": []})],
)  # fmt: skip
def test_places_that_are_none_change_nothing(client, path, body):
    dial = new_dial(client)
    sha256 = add(client, dial)["sha256"]
    settled(client, dial)
    content, form = json.dumps(body), {"Content-Type": "application/json"}  # half a character can be sent like this
    assert client.post(f"/photographs/{sha256}/{path}", content=content, headers=form).status_code in (400, 422)
    photo = photo_of(client, dial)
    assert photo["places"] == [] and not photo["undo"]


def test_more_places_than_there_may_be_and_photographs_that_are_not_there(client):
    dial = new_dial(client)
    place = f"/photographs/{add(client, dial)['sha256']}/places"
    replies = [client.post(place, json=HAND).status_code for _ in range(MOST_PLACES + 1)]
    assert replies == [200] * MOST_PLACES + [422]
    assert len(photo_of(client, dial)["places"]) == MOST_PLACES
    for path in ("places", "places/drop", "places/clear", "places/undo"):
        assert client.post(f"/photographs/{'0' * 64}/{path}", json=HAND).status_code == 422
        assert client.post(f"/photographs/{'0' * 63}/{path}", json=HAND).status_code == 404
        assert client.get(f"{place.removesuffix('places')}{path}").status_code == 404
        assert client.post(f"{place.removesuffix('places')}{path}", content=b"[]").status_code == 415
        client.headers["Origin"] = "https://evil.example"
        assert client.post(f"{place.removesuffix('places')}{path}", json=HAND).status_code == 403
        client.headers["Origin"] = ORIGIN


def test_a_marked_place_tells_nothing_of_a_call_kept_back(client):
    dial = new_dial(client, blind=True)
    sha256 = add(client, dial)["sha256"]
    settled(client, dial)
    replies = [client.post(f"/photographs/{sha256}/places", json=HAND),
               client.post(f"/photographs/{sha256}/places/undo", json={})]  # fmt: skip
    assert not [word for reply in replies for word in TELLTALES if word in reply.text]


def test_a_reading_overtaken_by_a_mark_is_not_kept(client):
    dial = new_dial(client)
    sha256 = add(client, dial)["sha256"]
    settled(client, dial)
    with client.desk.files.opened() as dials:
        known = dials.said(sha256)
        dials.mark(sha256, {"twelve_deg": 5.0})
        path = next(dials.entries()).path
        assert not dials.keep_reading(sha256, known, path, "0", {"name": "", "version": "", "sha256": ""}, {})
        assert len(dials.readings(sha256)) == 1 and dials.photograph(sha256)["state"] == "waiting"


# --- fields, opinions ---


def test_fields_are_kept_and_reach_the_collection(client):
    dial = new_dial(client)
    add(client, dial)
    settled(client, dial)
    said = {"name": "First", "maker": "Invented & Sons", "serial": "12", "year": "1884", "size_mm": "44.9",
            "source": "attic", "price": "340, in 2019", "notes": "<b>hair line</b>"}  # fmt: skip
    assert client.post(f"/dials/{dial}", json=said).status_code == 200
    told = settled(client, dial)
    assert {name: told[name] for name in said} == said | {"year": 1884, "size_mm": 44.9}
    assert told["size"] == 44.9 and told["size_as"] == "mm"
    assert client.desk.asked[-1][0] == "read" and client.desk.asked[-1][1][1].diameter_mm == 44.9
    with CollectionFile(client.desk.files.folder / COLLECTION) as collection:
        fields = next(collection.entries()).fields
    assert (fields["maker"], fields["year"], fields["size_mm"]) == ("Invented & Sons", 1884, 44.9)
    client.post(f"/dials/{dial}", json={"year": ""})
    assert settled(client, dial)["year"] is None


def test_a_size_is_kept_as_it_was_given(client):
    # 16-size: 1 + 21 / 30 inch, and 19 lignes: 42.86 mm (NAWCC encyclopedia, "Watch Size")
    for unit, value, millimetres in (("size", "16", 43.18), ("lignes", "19", 42.8608), ("size_mm", "44,9", None)):
        dial = new_dial(client)
        reply = client.post(f"/dials/{dial}", json={unit: value})
        told = client.get(f"/dials/{dial}").json()
        if millimetres is None:
            assert reply.status_code == 422 and told["size"] is None  # the page writes a point for it
            continue
        assert abs(told["size_mm"] - millimetres) < 0.001
        assert (told["size"], told["size_as"]) == (float(value), unit)
    client.post(f"/dials/{dial}", json={"size": 0})
    assert client.get(f"/dials/{dial}").json()["size"] == 0
    client.post(f"/dials/{dial}", json={"lignes": ""})
    assert client.get(f"/dials/{dial}").json()["size_as"] is None


@pytest.mark.parametrize(
    "said",
    [{"size": -1}, {"size_as": "mm"}, {"size": 16, "size_mm": 43}, {"lignes": []}, {"lignes": "1e9"}, {"year": "old"},
     {"year": 1e400}, {"year": "1884.5"}, {"size_mm": "3"}, {"size_mm": "nan"}, {"name": 5},
     {"notes": "x" * 5000}, {"id": 7}, {"shown_at": "now"}, {"maker": "\0"}],
)  # fmt: skip
def test_wrong_fields_are_refused_in_words(client, said):
    dial = new_dial(client)
    if said == {"year": 1e400}:
        reply = client.post(f"/dials/{dial}", content=b'{"year": 1e400}', headers={"Content-Type": "application/json"})
    else:
        reply = client.post(f"/dials/{dial}", json=said)
    assert reply.status_code == 422 and next(iter(said)).split("_")[0] in reply.json()["error"]


def test_the_call_is_kept_back_until_the_person_has_spoken(client):
    dial = new_dial(client, blind=True)
    add(client, dial)
    told = settled(client, dial)
    assert told["kept_back"] and told["call"] is None and told["photographs"][0]["geometry"] is not None

    def answers():
        return "".join(
            client.get(path).text
            for path in ("/dials", f"/dials/{dial}", "/state", f"/dials/{dial}/inspection", f"/dials/{dial}/report")
        )

    assert not [word for word in TELLTALES if word in answers()]
    assert client.post(f"/dials/{dial}/show", json={}).status_code == 422
    client.post(f"/dials/{dial}/opinion", json={"zone": "numerals", "label": "printed"})
    assert client.post(f"/dials/{dial}/show", json={}).status_code == 422
    client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "mixed"})
    assert not [word for word in TELLTALES if word in answers()]
    told = client.post(f"/dials/{dial}/show", json={}).json()
    assert told["call"]["call"] == "hand-painted" and not told["kept_back"]
    assert client.get(f"/dials/{dial}/inspection").text == "<p>sentinel page of 1, None"
    report = client.get(f"/dials/{dial}/report")
    assert report.content == b"%PDF of sentinel" and f"dial-{dial}.pdf" in report.headers["content-disposition"]
    add(client, dial, b"another")
    client.post(f"/dials/{dial}", json={"year": 1884})
    settled(client, dial)
    assert client.get(f"/dials/{dial}/inspection").text == "<p>sentinel page of 2, 1884"
    assert client.get(f"/dials/{new_dial(client)}/inspection").status_code == 422
    client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "painted"})
    with client.desk.files.opened() as dials:  # both stand in the record, and which was said before
        history = [(row["zone"], row["label"], row["call_shown"]) for row in dials.opinion_history(dial)]
        labels = {row["zone"]: row["label"] for row in dials.labels(next(dials.entries()).id)}
        assert next(dials.entries()).call == "hand-painted"
    assert history == [("numerals", "printed", 0), ("dial", "mixed", 0), ("dial", "painted", 1)]
    assert labels == {"numerals": "printed", "dial": "painted"}


def test_an_opinion_can_be_taken_back(client):
    dial = new_dial(client)
    add(client, dial)
    settled(client, dial)
    for label in ("painted", ""):
        assert client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": label}).status_code == 200
    assert client.get(f"/dials/{dial}").json()["opinions"] == {}
    with client.desk.files.opened() as dials:
        assert dials.labels(next(dials.entries()).id) == []
    for wrong in ({"zone": "other", "label": "painted"}, {"zone": "dial", "label": "fake"}):
        assert client.post(f"/dials/{dial}/opinion", json=wrong).status_code == 422
    assert client.post(f"/dials/{dial}/opinion", json={"zone": 1, "label": []}).status_code == 400


def test_an_inspection_page_may_ask_this_server_nothing(client):
    dial = new_dial(client)
    add(client, dial)
    settled(client, dial)
    policy = client.get(f"/dials/{dial}/inspection").headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts; default-src 'none'") and "'self'" not in policy


def test_the_record_is_sound(client):
    dial = new_dial(client)
    add(client, dial)
    settled(client, dial)
    with ExaminedDials(client.desk.files.collection) as dials:
        assert dials.faults() == []
    with sqlite3.connect(client.desk.files.collection) as base:
        assert base.execute("SELECT count(*) FROM examined_reading").fetchone() == (1,)


def test_a_call_that_could_be_seen_counts_as_shown(client):
    dial = new_dial(client)
    add(client, dial)
    assert settled(client, dial)["call"]
    told = client.post(f"/dials/{dial}", json={"blind": True}).json()
    assert not told["kept_back"] and told["call"]
    client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "painted"})
    with client.desk.files.opened() as dials:
        assert dials.opinion_history(dial)[0]["call_shown"]


def test_a_photograph_of_another_dial_gets_one_of_its_own(client):
    dial = new_dial(client, blind=False)
    shas = [add(client, dial, b"photograph %d" % k)["sha256"] for k in range(2)]
    settled(client, dial)
    client.post(f"/dials/{dial}", json={"maker": "Invented", "size_mm": 44})
    client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "painted"})
    told = settled(client, dial)
    assert told["together"]
    assert client.post(f"/photographs/{shas[1]}/part", json={}).status_code == 200
    told = settled(client, dial)
    assert [photo["sha256"] for photo in told["photographs"]] == shas[:1] and told["call"] and not told["together"]
    other = settled(client, dial + 1)
    assert [photo["sha256"] for photo in other["photographs"]] == shas[1:] and other["call"]
    assert (other["maker"], other["size_mm"], other["opinions"]) == (None, None, {})
    with client.desk.files.opened() as dials:
        entries = {entry.sha256: entry for entry in dials.entries()}
        assert entries[shas[0]].fields["maker"] == "Invented" and entries[shas[1]].fields["maker"] is None
        assert dials.labels(entries[shas[0]].id) and not dials.labels(entries[shas[1]].id)
        assert entries[shas[1]].document["known"] == {}


def test_more_photographs_than_can_be_held_at_once_are_said(client, monkeypatch):
    monkeypatch.setattr("dialtell.evaluate.examine.desk.MOST_TOGETHER", 2)
    dial = new_dial(client)
    for k in range(3):
        add(client, dial, b"photograph %d" % k)
    told = settled(client, dial)
    assert told["call"] is None and "of their own" in told["apart"]
    client.post(f"/photographs/{told['photographs'][0]['sha256']}/part", json={})
    assert settled(client, dial)["call"]


def test_a_photograph_begins_a_dial_once(tmp_path):
    def begin(content, **given):
        reply = client.post("/photographs", params=given, content=content,
                            headers={"Content-Type": "application/octet-stream"})  # fmt: skip
        return reply.status_code, reply.json()

    with asked(tmp_path) as client:
        status, told = begin(b"one", name="IMG_1.jpg", **{"as": "IMG_1", "blind": "1"})
        assert (status, told["dial"], told["fresh"]) == (201, 1, True)
        dial = settled(client, 1)
        assert dial["name"] == "IMG_1" and dial["kept_back"] and dial["photographs"][0]["name"] == "IMG_1.jpg"
        status, told = begin(b"two", name="IMG_2.jpg")
        assert (status, told["dial"]) == (201, 2) and not settled(client, 2)["blind"]
        # dropped again: it lies where it lay, and no empty dial is left
        status, told = begin(b"one", name="again.jpg", **{"as": "again"})
        assert (status, told["dial"], told["fresh"]) == (200, 1, False)
        assert client.get("/dials").json()["total"] == 2
        assert client.get("/dials/1").json()["name"] == "IMG_1"
        # a name that is none begins nothing
        assert begin(b"three", **{"as": "x" * 5000})[0] == 422
        assert client.get("/dials").json()["total"] == 2


def test_all_photographs_of_a_dial_become_dials(tmp_path):
    with asked(tmp_path) as client:
        dial = new_dial(client, blind=True)
        for content in (b"one", b"two", b"three"):
            add(client, dial, content, name=f"{content.decode()}.jpg")
        settled(client, dial)
        left = client.post(f"/dials/{dial}/apart", json={}).json()
        assert [photo["name"] for photo in left["photographs"]] == ["one.jpg"]
        found = [client.get(f"/dials/{row['id']}").json() for row in client.get("/dials").json()["dials"]]
        assert sorted(photo["name"] for each in found for photo in each["photographs"]) == [
            "one.jpg", "three.jpg", "two.jpg"
        ]  # fmt: skip
        assert len(found) == 3 and all(
            each["kept_back"] and each["photographs"][0]["state"] == "read" for each in found
        )


def test_the_last_dropped_is_read_first(tmp_path):
    class Slow(StandIn):
        async def _run(self, slot, function, *values):
            await held.wait()
            return await super()._run(slot, function, *values)

    held = asyncio.Event()
    with asked(tmp_path, Slow) as client:
        dials = [new_dial(client) for _ in range(4)]
        for dial in dials:
            add(client, dial, f"photograph {dial}".encode(), name=f"{dial}.jpg")
        client.portal.call(held.set)
        for dial in dials:
            settled(client, dial)
        contents = [values[0].read_bytes()[-1:] for name, values in client.desk.asked if name == "read"]
        assert contents == [b"4", b"3", b"2", b"1"]


def test_what_to_photograph_next_is_told_with_the_call(tmp_path):
    class Open(StandIn):
        async def _run(self, slot, function, *values):
            found = await super()._run(slot, function, *values)
            if function.__name__ == "read":
                found.document["next_fields"] = [{"x": 0.0, "y": 0.6, "reason": "Seconds dial about 6 o'clock."}]
            return found

    with asked(tmp_path, Open) as client:
        dial = new_dial(client, blind=True)
        add(client, dial)
        settled(client, dial)
        assert "6 o'clock" not in client.get(f"/dials/{dial}").text
        client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "cannot tell"})
        told = client.post(f"/dials/{dial}/show", json={}).json()
        assert told["call"]["next"] == ["Seconds dial about 6 o'clock."]


def test_the_page_of_a_dial_says_what_it_is_called(tmp_path):
    with asked(tmp_path) as client:
        dial = new_dial(client)
        add(client, dial)
        settled(client, dial)
        for given in ({}, {"maker": "Aubrin", "serial": "41"}, {"name": "No. 7"}):
            client.post(f"/dials/{dial}", json=given)
            assert client.get(f"/dials/{dial}/report").status_code == 200
        # "Dial" stands before it on page and report
        named = [values[2] for name, values in client.desk.asked if name == "write_inspection"]
        assert named == ["1", "Aubrin 41", "No. 7"]
