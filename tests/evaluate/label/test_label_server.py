"""The label page's server: who may ask, what it never answers, and what comes back."""

from __future__ import annotations

import json
import shutil
import socket
from types import SimpleNamespace

import numpy as np
import pytest
from label_desk import CENTRE, HEIGHT, RADIUS, TELLTALES, WIDTH, ask, desk, draw, first

from dialtell.evaluate.label.app import Labelling
from dialtell.evaluate.label.photos import PhotoFolder
from dialtell.evaluate.label.store import LabelStore
from dialtell.evaluate.label.views import LabelViews
from dialtell.evaluate.score.recognised import LEAST_CERTAIN
from dialtell.evaluate.serving.doors import LARGEST_BODY
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.outline import LEAST_OUTLINE, NoDial
from dialtell.synth.shared.errors import OutputError


@pytest.fixture
def served(tmp_path):
    for number, name in enumerate(("a.png", "b.png")):
        draw(tmp_path / name, 30 + number)
    with desk(tmp_path) as server:
        yield server


def test_token_in_the_address_becomes_a_cookie(served):
    assert len(served.token) >= 43
    status, headers, _ = ask(served, "GET", f"/?token={served.token}", Cookie=None)
    assert (status, headers["location"]) == (303, "/")
    assert headers["set-cookie"].endswith("; Path=/; HttpOnly; SameSite=Strict")
    assert ask(served, "GET", "/")[0] == 200
    assert ask(served, "GET", "/?token=wrong", Cookie=None)[0] == 403
    assert ask(served, "GET", f"/photos?token={served.token}", Cookie=None)[0] == 403


def test_only_this_machine_can_connect(served):
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.2", served.port), timeout=2).close()


@pytest.mark.parametrize("cookie", [None, "", "dialtell-label-1={token}", "dialtell-label-{port}=wrong", "x={token}"])
def test_without_the_token_nothing_is_answered(served, cookie):
    cookie = cookie and cookie.format(token=served.token, port=served.port)
    number = first(served)
    for path in ("/", "/label.js", "/photos", f"/photo/{number}", f"/picture/{number}", f"/dial/{number}"):
        status, _, body = ask(served, "GET", path, Cookie=cookie)
        assert status == 403 and b"token" in body and served.token.encode() not in body
    for path in ("/change", "/undo", "/rim", "/call"):
        assert ask(served, "POST", path, {"id": number}, Cookie=cookie)[0] == 403
    assert not served.store.labelled(served.folder.photos[number])


@pytest.mark.parametrize("host", [None, "evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:{port}"])
def test_other_names_of_this_server_are_refused(served, host):
    host = host and host.format(port=served.port)
    refused = 400 if host is None else 421  # without any it is no request
    assert ask(served, "GET", "/", Host=host)[0] == refused
    assert ask(served, "GET", f"/?token={served.token}", Host=host, Cookie=None)[0] == refused
    assert ask(served, "POST", "/undo", {}, Host=host)[0] == refused
    assert ask(served, "GET", "/", Host=f"localhost:{served.port}")[0] == 200


@pytest.mark.parametrize(
    "changed",
    [{"Origin": None}, {"Origin": "null"}, {"Origin": "https://evil.example"}, {"Origin": "http://127.0.0.1:1"}]
    + [{"Content_Type": kind} for kind in (None, "text/plain", "application/x-www-form-urlencoded")],
)
def test_writes_from_other_pages_are_refused(served, changed):
    body = {"id": first(served), "changes": {"dial_process": "painted"}}
    assert ask(served, "POST", "/change", body, **changed)[0] in (403, 415)
    assert not served.store.labelled(served.folder.photos[first(served)])
    assert ask(served, "POST", "/change", body)[0] == 200


@pytest.mark.parametrize(
    "path",
    ["/../../etc/passwd", "/picture/../a.png", "/picture/a.png", "/picture/%2e%2e%2fa.png", "//etc/passwd",
     "/label.html", "/label.css/../label.js", "/labels.csv", "/picture/" + "0" * 64, "/photo/", "/dial/x\\..\\y"],
)  # fmt: skip
def test_nothing_is_asked_by_path(served, path):
    status, _, body = ask(served, "GET", path)
    assert status == 404 and json.loads(body)["error"].startswith("there is no")


def test_huge_and_odd_bodies_are_refused(served):
    assert ask(served, "POST", "/change", Content_Length=str(10**12))[0] == 413
    assert ask(served, "POST", "/change", Content_Length=str(LARGEST_BODY + 1))[0] == 413
    assert ask(served, "POST", "/change")[0] == 411
    for length in ("-1", "1e3", "²", "9" * 5000):
        assert ask(served, "POST", "/change", Content_Length=length.encode().decode("latin-1"))[0] == 400
    assert ask(served, "POST", "/change", Transfer_Encoding="chunked")[0] == 411
    for body in (b"", b"{", b"[]", b"[" * 60_000, b"\xff"):
        assert ask(served, "POST", "/change", body)[0] == 400
    number = first(served)
    for changes in (None, [], {"dial_process": 1}, {"dial_process": None}):
        assert ask(served, "POST", "/change", {"id": number, "changes": changes})[0] == 400
    for points in (None, [1], [[1]], "x", {"0": [1, 2]}):
        assert ask(served, "POST", "/rim", {"id": number, "points": points})[0] == 400
    assert ask(served, "POST", "/rim", {"id": number, "points": [["a", "b"]] * 5})[0] == 422
    assert ask(served, "POST", "/change", {"id": ["x"], "changes": {}})[0] == 404
    assert ask(served, "PUT", "/change", {})[0] == 404
    assert ask(served, "GET", "/photos")[0] == 200


def test_every_answer_carries_the_policy(served):
    for path in ("/", "/photos", "/nothing", f"/picture/{first(served)}"):
        headers = ask(served, "GET", path)[1]
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert "access-control-allow-origin" not in headers


def everything(server):
    """All that the page can be told of the first photograph, without asking for its call."""
    number = first(server)
    for path in ("/", "/label.js", "/label.css", "/photos", f"/photo/{number}", f"/dial/{number}"):
        status, headers, body = ask(server, "GET", path)
        assert status == 200
        yield path, body.decode() + str(headers)


def test_call_is_nowhere_before_the_label(served):
    number = first(served)
    status, _, body = ask(served, "POST", "/call", {"id": number})
    assert status == 403 and b"label the dial first" in body
    ask(served, "POST", "/change", {"id": number, "changes": {"numerals": "printed"}})  # a zone is not the dial yet
    assert ask(served, "POST", "/call", {"id": number})[0] == 403
    for path, text in everything(served):
        for word in TELLTALES:
            # the page's own script names the field it will be told, not what is in it
            assert word not in text or (path == "/label.js" and word == "log10_lr"), (path, word)
    assert served.views.asked == []  # nor was it worked out
    assert ask(served, "POST", "/change", {"id": number, "changes": {"dial_process": "printed"}})[0] == 200
    told = json.loads(ask(served, "POST", "/call", {"id": number})[2])
    assert told["log10_lr"] == 1.2345
    ask(served, "POST", "/change", {"id": number, "changes": {"dial_process": "mixed"}})
    assert "with the call in view" in json.loads(ask(served, "GET", f"/photo/{number}")[2])["row"]["notes"]


def test_call_is_shown_before_only_when_wanted(tmp_path):
    draw(tmp_path / "a.png", 30)
    with desk(tmp_path, show_calls=True) as server:
        assert ask(server, "POST", "/call", {"id": first(server)})[0] == 200
        ask(server, "POST", "/change", {"id": first(server), "changes": {"dial_process": "painted"}})
        assert "with the call in view" in (tmp_path / "labels.csv").read_text()


def test_picture_and_dial_found(served):
    number = first(served)
    status, headers, body = ask(served, "GET", f"/picture/{number}")
    assert (status, headers["content-type"], body[:2]) == (200, "image/jpeg", b"\xff\xd8")
    told = json.loads(ask(served, "GET", f"/photo/{number}")[2])
    assert (told["width"], told["height"], told["error"]) == (WIDTH, HEIGHT, "")
    x, y, a, b, _ = map(float, json.loads(ask(served, "GET", f"/dial/{number}")[2])["outline"].split())
    # cv2 draws round the centre of pixel (150, 120), which is 150.5, 120.5
    assert (x, y, a, b) == pytest.approx((CENTRE[0] + 0.5, CENTRE[1] + 0.5, RADIUS, RADIUS), abs=1.5)


def test_a_photograph_that_goes_away_or_cannot_be_read_stops_nothing(tmp_path):
    draw(tmp_path / "a.png", 30)
    (tmp_path / "b.jpg").write_bytes(b"no photograph")
    with desk(tmp_path) as server:
        broken = next(photo.id for photo in server.folder if photo.name == "b.jpg")
        told = json.loads(ask(server, "GET", f"/photo/{broken}")[2])
        assert told["width"] == 0 and "not an image" in told["error"]
        assert ask(server, "GET", f"/picture/{broken}")[0] == 422
        (tmp_path / "a.png").unlink()
        number = next(photo.id for photo in server.folder if photo.name == "a.png")
        assert "taken away" in json.loads(ask(server, "GET", f"/photo/{number}")[2])["error"]
        assert ask(server, "POST", "/change", {"id": number, "changes": {"dial_process": "painted"}})[0] == 422


def test_taken_port_is_said(served, tmp_path):
    with pytest.raises(OutputError, match=f"port {served.port} cannot be used"):
        with desk(tmp_path, tmp_path / "other.csv", port=served.port):
            pass


@pytest.mark.parametrize(
    ("seen", "certainty", "said"),
    [(1.0, LEAST_CERTAIN, ""), (1.0, LEAST_CERTAIN - 0.01, "not made out for certain"),
     (LEAST_OUTLINE - 0.01, 0.9, "only 41% of its outline lies in the picture")],
)  # fmt: skip
def test_no_outline_is_offered_that_cannot_be_relied_on(seen, certainty, said, tmp_path, drawn_photo, monkeypatch):
    from dialtell.evaluate.label import views as views_module

    found = SimpleNamespace(geometry=DialGeometry((600, 600), (400, 390), seen=seen), certainty=certainty)
    monkeypatch.setattr(views_module, "find_outline", lambda photo, reader: found)
    shutil.copy(drawn_photo, tmp_path / "a.png")
    (photo,) = PhotoFolder(tmp_path)
    told = LabelViews().dial(photo)
    assert bool(told["outline"]) == (said == "") and said in told["reason"]


def test_the_call_rests_on_the_outline_just_marked(tmp_path, drawn_photo, drawn_truth, make_weights, monkeypatch):
    """Where the finder sees no dial, the outline marked is the dial: for the page's ellipse and for the call."""
    from dialtell.evaluate.label import views as views_module
    from dialtell.model.reading import steps

    lost = NoDial("it was hidden")
    monkeypatch.setattr(steps, "find_outline", lambda photo, reader, first: lost)
    monkeypatch.setattr(steps, "find_place", lambda shape, look: None)
    monkeypatch.setattr(views_module, "find_outline", lambda photo, reader: lost)
    (tmp_path / "photos").mkdir()
    shutil.copy(drawn_photo, tmp_path / "photos" / "a.png")
    folder = PhotoFolder(tmp_path / "photos")
    (photo,) = folder
    (x, y), (a, b) = drawn_truth.dial.center_px, drawn_truth.dial.axes_px
    turn = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)
    rim = drawn_truth.dial.to_photo(np.stack([np.cos(turn), np.sin(turn)], axis=-1))
    with LabelStore(tmp_path / "labels.csv") as store:
        server = Labelling(folder, store, LabelViews(make_weights(9.0, 9.0)), show_calls=True)
        assert server.call({"id": photo.id})["reason"] == "No dial was found: it was hidden."
        assert server.views.dial(photo, store.known(photo))["reason"] == "it was hidden"
        server.rim({"id": photo.id, "points": rim.tolist()})
        assert server.call({"id": photo.id})["call"] == "hand-painted"
        marked = [float(part) for part in server.views.dial(photo, store.known(photo))["outline"].split()]
        assert marked[:4] == pytest.approx([x, y, a, b], abs=1.0)
        server.rim({"id": photo.id, "points": []})
        assert server.call({"id": photo.id})["call"] == "undetermined"
