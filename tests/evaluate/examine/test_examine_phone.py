"""The phone's door: shut unless asked for, open to the code alone, for photographs alone; and all that tries it."""

from __future__ import annotations

import asyncio
import base64
import socket
import time

import cv2
import numpy as np
import pytest
from examine_asked import ORIGIN, add, asked, new_dial, settled
from page_served import served

from dialtell.evaluate.examine import phone as door
from dialtell.evaluate.examine import receiving, serve
from dialtell.evaluate.examine.phone import CODE_S, LETTERS, MOST_WRONG, SESSION_S, Phone
from dialtell.evaluate.serving import server
from dialtell.synth.shared.errors import OutputError

HOST = "192.168.7.7:8123"
THERE = f"http://{HOST}"
FORM = {"Content-Type": "application/octet-stream", "Origin": THERE}


class Clock:
    """A clock that is set by hand."""

    now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def client(tmp_path, clock):
    with asked(tmp_path / "dials", phone=Phone(HOST, clock=clock)) as client:
        yield client


def invited(client, dial=None):
    """A new code for a dial."""
    number = new_dial(client) if dial is None else dial
    reply = client.post(f"/dials/{number}/phone", json={})
    assert reply.status_code == 200
    return number, reply.json()


def enter(client, code, **headers):
    return client.post(f"{THERE}/enter", json={"code": code}, headers={"Origin": THERE} | headers)


def send(client, content=b"photograph", **more):
    headers = FORM | more.pop("headers", {})
    return client.post(f"{THERE}/photographs", params={"name": "IMG_1.HEIC"} | more, content=content, headers=headers)


def said(client):
    return client.get("/state").json()["phone"]["door"]


def test_a_phone_with_the_code_adds_photographs_to_that_dial(client):
    dial, told = invited(client)
    assert told["address"] == f"{THERE}/" and said(client) == {"dial": dial, "said": "waiting", "came": 0}
    reply = enter(client, told["code"].lower().replace("-", " "))
    assert reply.status_code == 200
    assert "HttpOnly; SameSite=Strict" in reply.headers["set-cookie"]
    assert send(client).json() == {"kept": True}
    assert said(client) == {"dial": dial, "said": "in", "came": 1}
    photo = settled(client, dial)["photographs"][0]
    assert (photo["name"], photo["state"]) == ("IMG_1.HEIC", "read")


def test_the_square_holds_address_and_code(client):
    told = invited(client)[1]
    image = cv2.imdecode(np.frombuffer(base64.b64decode(told["qr"].partition(",")[2]), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert cv2.QRCodeDetector().detectAndDecode(image)[0] == f"{told['address']}#{told['code']}"


def test_without_the_flag_there_is_no_door(tmp_path):
    with asked(tmp_path / "dials") as client:
        assert client.post(f"/dials/{new_dial(client)}/phone", json={}).status_code == 404
        assert client.get("/state").json()["phone"] is None


def test_a_phone_sees_nothing(client):
    dial, told = invited(client)
    sha256 = add(client, dial, b"before")["sha256"]
    settled(client, dial)
    assert enter(client, told["code"]).status_code == 200
    for path in ("/dials", f"/dials/{dial}", "/state", f"/pictures/{sha256}", f"/thumbnails/{sha256}",
                 "/along/dials.zip", "/agreement", "/examine.js", f"/dials/{dial}/inspection", "/photographs",
                 "/enter"):  # fmt: skip
        assert client.get(THERE + path).status_code == 404, path
    for path in ("/dials", f"/dials/{dial}", f"/dials/{dial}/opinion", f"/dials/{dial}/show", "/brought",
                 f"/dials/{dial}/phone", "/phone/dismiss", f"/photographs/{sha256}/mark"):  # fmt: skip
        assert client.post(THERE + path, json={}, headers={"Origin": THERE}).status_code == 404, path
    # not even whether a photograph was there before
    assert send(client, b"before").json() == send(client, b"new").json()


def test_a_phone_is_nobody_at_the_page_itself(client):
    told = invited(client)[1]
    reply = enter(client, told["code"])
    token = reply.headers["set-cookie"].split("=")[1].split(";")[0]
    client.cookies.clear()
    for name in ("dialtell-examine-4711", "dialtell-phone-8123"):
        assert client.get("/dials", headers={"Cookie": f"{name}={token}"}).status_code == 403


# --- who tries ---


def test_wrong_codes_are_few(client):
    _, told = invited(client)
    tried = [enter(client, code).status_code for code in ("", "AAAA-AAAA", "x" * 5000, "\u00e9", "2222-2222")]
    assert tried == [403] * MOST_WRONG
    assert enter(client, told["code"]).status_code == 429  # and the right one is void with them
    assert said(client)["said"] == "void" and send(client).status_code == 403
    fresh = invited(client, 1)[1]
    assert enter(client, fresh["code"]).status_code == 200


@pytest.mark.parametrize("code", [None, 5, [], {"a": 1}, True])
def test_what_is_no_code_is_a_wrong_one(client, code):
    invited(client)
    assert client.post(f"{THERE}/enter", json={"code": code}, headers={"Origin": THERE}).status_code == 403


def test_guessing_is_hopeless():
    codes = {Phone(HOST).invite(1)["code"] for _ in range(50)}
    assert len(codes) == 50
    assert MOST_WRONG / len(LETTERS) ** 8 < 1e-11  # a chance a code


def test_a_code_lets_one_phone_in(client):
    _, told = invited(client)
    assert enter(client, told["code"]).status_code == 200
    client.cookies.delete("dialtell-phone-8123")
    assert enter(client, told["code"]).status_code == 403
    assert send(client).status_code == 403


def test_codes_and_phones_expire(client, clock):
    _, told = invited(client)
    clock.now += CODE_S
    assert enter(client, told["code"]).status_code == 403 and said(client)["said"] == "late"
    _, told = invited(client)
    assert enter(client, told["code"]).status_code == 200 and send(client).status_code == 201
    clock.now += SESSION_S
    assert send(client, b"late").status_code == 403 and said(client)["said"] == "late"


def test_whoever_is_dismissed_or_followed_is_out(client):
    dial, told = invited(client)
    enter(client, told["code"])
    client.post("/phone/dismiss", json={})
    assert send(client).status_code == 403 and said(client) is None
    _, told = invited(client, dial)
    enter(client, told["code"])
    invited(client, dial)
    assert send(client).status_code == 403
    assert not settled(client, dial)["photographs"]


def test_before_a_code_is_asked_for_nobody_is_let_in(client):
    assert enter(client, "").status_code == 403 and send(client).status_code == 403
    assert client.get(f"{THERE}/").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "192.168.7.7", "192.168.7.7:1", "127.0.0.1:4711", "localhost:8123"])
def test_rebinding(client, host):
    _, told = invited(client)
    assert client.get(f"{THERE}/", headers={"Host": host}).status_code == 421
    assert enter(client, told["code"], Host=host).status_code == 421


@pytest.mark.parametrize("origin", [None, "null", "https://evil.example", ORIGIN])
def test_other_pages_add_nothing(client, origin):
    dial, told = invited(client)
    assert enter(client, told["code"]).status_code == 200
    headers = {name: value for name, value in FORM.items() if name != "Origin"}
    del client.headers["Origin"]
    if origin:
        headers["Origin"] = origin
    assert client.post(f"{THERE}/photographs", content=b"x", headers=headers).status_code == 403
    client.headers["Origin"] = ORIGIN
    assert not settled(client, dial)["photographs"]


def test_so_many_photographs_and_no_more(client, monkeypatch):
    monkeypatch.setattr(door, "MOST_PHOTOGRAPHS", 3)
    dial, told = invited(client)
    enter(client, told["code"])
    assert [send(client, b"photograph %d" % k).status_code for k in range(5)] == [201] * 3 + [429] * 2
    assert len(settled(client, dial)["photographs"]) == 3


def test_so_many_bytes_and_no_more(client, monkeypatch):
    monkeypatch.setattr(door, "MOST_BYTES", 1000)
    dial, told = invited(client)
    enter(client, told["code"])
    assert [send(client, bytes([k]) * 600).status_code for k in range(3)] == [201, 413, 413]
    assert send(client, b"y" * 400).status_code == 201 and send(client, b"z").status_code == 429
    assert len(settled(client, dial)["photographs"]) == 2


def test_bodies_of_another_form_are_refused(client):
    _, told = invited(client)
    enter(client, told["code"])
    for form in ("text/plain", "multipart/form-data", "image/jpeg"):
        assert send(client, headers={"Content-Type": form}).status_code == 415
    assert send(client, b"").status_code == 400
    big = client.post(f"{THERE}/enter", content=b" " * 70_000,
                      headers={"Origin": THERE, "Content-Type": "application/json"})  # fmt: skip
    assert big.status_code == 413


@pytest.mark.parametrize("patience", ["part", "whole"])
def test_a_body_that_drips_meets_an_end(client, monkeypatch, patience):
    if patience == "part":
        monkeypatch.setattr(receiving, "PATIENCE_S", 0.2)
    else:
        monkeypatch.setattr(door, "_LONGEST_UPLOAD_S", 0.3)
    dial, told = invited(client)
    enter(client, told["code"])
    session = client.app  # asked directly: the test client sends a body in one piece

    async def drip():
        sent = []

        async def receive():
            await asyncio.sleep(0.05 if patience == "whole" else 5)
            return {"type": "http.request", "body": b"x", "more_body": True}

        async def send(message):
            sent.append(message)

        cookie = "; ".join(f"{each.name}={each.value}" for each in client.cookies.jar)
        headers = {"host": HOST, "origin": THERE, "content-type": "application/octet-stream", "cookie": cookie}
        scope = {
            "type": "http", "method": "POST", "path": "/photographs", "raw_path": b"/photographs", "query_string": b"",
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()], "scheme": "http",
            "server": ("192.168.7.7", 8123), "client": ("192.168.7.8", 1), "http_version": "1.1", "root_path": "",
            "asgi": {"version": "3.0"}, "extensions": {},
        }  # fmt: skip
        await session(scope, receive, send)
        return sent[0]["status"]

    begun = time.monotonic()
    assert client.portal.call(drip) == 408
    assert time.monotonic() - begun < 4
    assert send(client).status_code == 201  # others are not kept waiting
    assert len(settled(client, dial)["photographs"]) == 1


@pytest.mark.parametrize("name", ["../../x.jpg", "<img src=x onerror=alert(1)>.jpg", "a\0b.jpg", "x" * 5000, "\ud800"])
def test_names_are_words_and_lead_nowhere(client, name, tmp_path):
    dial, told = invited(client)
    enter(client, told["code"])
    assert send(client, name=name.encode("utf-8", "surrogatepass")).status_code == 201
    assert len(settled(client, dial)["photographs"][0]["name"]) <= 255
    assert {path.parent.name for path in tmp_path.rglob("*.*") if path.is_file()} <= {"dials", "photographs", "views"}


@pytest.mark.parametrize("path", ["/../dials.collection", "/%2e%2e/x", "//evil.example", "/phone.html", "/examine.css"])
def test_no_path_leads_to_a_file(client, path):
    _, told = invited(client)
    enter(client, told["code"])
    assert client.get(THERE + path).status_code in (400, 403, 404, 421)


def test_every_answer_closes_and_carries_the_policy(client):
    for path in ("/", "/phone.js", "/nothing"):
        headers = client.get(THERE + path).headers
        assert headers["connection"] == "close" and headers["cache-control"] == "no-store"
        assert "default-src 'none'" in headers["content-security-policy"]
    text = "".join(client.get(THERE + path).text for path in ("/", "/phone.js"))
    assert "innerHTML" not in text and "https://" not in text and "http://" not in text


# --- connections ---


@pytest.fixture
def address(monkeypatch):
    """The address of a server as pages are served, that waits for half a second."""
    monkeypatch.setattr(server, "SLOWEST_S", 0.5)

    async def app(scope, receive, send):
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
            await send({"type": "http.response.body", "body": b"ok"})

    with server.listening("127.0.0.1", 0) as listener, served(app, listener, 4):
        yield listener.getsockname()


@pytest.mark.parametrize("begin", [b"", b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: "])
def test_connections_that_say_nothing_are_ended(address, begin):
    with socket.create_connection(address, timeout=10) as silent:
        silent.sendall(begin)
        begun = time.monotonic()
        for _ in range(12):  # one that drips is ended as well
            time.sleep(0.1)
            try:
                silent.sendall(b"x" * bool(begin))
            except OSError:
                break
        silent.settimeout(10)
        try:
            answer = silent.recv(100)
        except ConnectionError:
            answer = b""
        assert not answer.startswith(b"HTTP/1.1 200") and time.monotonic() - begun < 8


def test_an_honest_request_is_answered_after_them(address):
    held = [socket.create_connection(address, timeout=10) for _ in range(6)]
    time.sleep(1.5)
    with socket.create_connection(address, timeout=10) as honest:
        honest.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        assert honest.recv(100).startswith(b"HTTP/1.1 200")
    for each in held:
        each.close()


def test_only_addresses_of_a_local_network_are_served(monkeypatch):
    address = ""

    class Way:
        def __init__(self, *_):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

        def connect(self, _):
            return None

        def getsockname(self):
            return (address, 1)

    monkeypatch.setattr(serve.socket, "socket", Way)
    for address in ("192.168.1.5", "10.0.0.2", "172.16.3.4"):
        assert serve.own_address() == address
    for address in ("127.0.0.1", "0.0.0.0", "8.8.8.8"):  # noqa: B007
        with pytest.raises(OutputError, match="local network"):
            serve.own_address()
