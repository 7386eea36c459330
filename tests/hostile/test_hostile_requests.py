"""Requests to the label page by other pages, other programs and slow or swarming clients."""

from __future__ import annotations

import json
import socket
import time
from contextlib import closing

import pytest
from label_desk import ask, desk, draw, first

from dialtell.evaluate.serving import doors, server


@pytest.fixture
def served(tmp_path):
    draw(tmp_path / "a.png", 30)
    with desk(tmp_path) as server:
        yield server


def raw(server, data, patience=10.0):
    """What comes back for these bytes until the server ends the connection."""
    with closing(socket.create_connection(("127.0.0.1", server.port), timeout=patience)) as connection:
        connection.sendall(data)
        found = b""
        while piece := connection.recv(65536):
            found += piece
        return found


def table(server):
    return server.store.path.read_bytes()


@pytest.mark.parametrize(
    "form", ["application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x", None]
)
def test_a_form_of_another_page_changes_nothing(served, form):
    """What a browser sends for a form without asking first, even where the cookie came along."""
    before = table(served)
    body = json.dumps({"id": first(served), "changes": {"dial_process": "painted"}}).encode()
    for origin in ("http://evil.example", "null", None, f"http://127.0.0.1:{served.port + 1}", "file://"):
        status = ask(served, "POST", "/change", body, Content_Type=form, Origin=origin)[0]
        assert status == 403
    assert ask(served, "POST", "/change", body, Content_Type=form)[0] == 415
    assert table(served) == before


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1.evil.example:{port}", "[::1]:{port}", "0.0.0.0:{port}",
             "127.0.0.1:{port}@evil.example", "localhost:{port}.", ""]
)  # fmt: skip
def test_a_name_that_was_bound_to_this_machine(served, host):
    """DNS rebinding: the request comes here, but under the name of another page; with the token even."""
    before, name = table(served), host.format(port=served.port)
    assert ask(served, "GET", "/photos", Host=name)[0] == 421
    change = {"id": first(served), "changes": {"dial_process": "painted"}}
    assert ask(served, "POST", "/change", change, Host=name, Origin=f"http://{name}")[0] == 421
    assert table(served) == before


@pytest.mark.parametrize(
    "path", ["/../../etc/passwd", "/picture/../../etc/passwd", "/picture/%2e%2e%2fetc%2fpasswd", "/picture//etc/passwd",
             "//etc/passwd", "/label.css/../../app.py", "/picture/a.png", "/photo/", "/dial/..", "http://[",
             "/\\..\\..\\x", "/picture/%00", "/label.js%00.css", "file:///etc/passwd", "*", "/%"]
)  # fmt: skip
def test_no_path_leads_to_a_file(served, path):
    status, _, body = ask(served, "GET", path)
    assert status in (400, 403, 404) and b"root:" not in body and len(body) < 200


def test_no_other_method_is_answered(served):
    for method in ("HEAD", "OPTIONS", "PUT", "DELETE", "TRACE", "PATCH", "CONNECT", "X" * 100):
        reply = raw(served, f"{method} / HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode())
        head = reply.decode().lower()
        assert head.startswith("http/1.1 403") and "access-control" not in head
        assert "content-security-policy" in head and "<" not in head.split("\r\n\r\n")[1]
        if method not in ("HEAD", "CONNECT", "TRACE"):  # let in, it is answered no better
            assert ask(served, method, "/photos", {})[0] == 404


@pytest.mark.parametrize(
    "data",
    [b"\x00\x01\x02\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n",
     b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n",
     b"GET / HTTP/1.1\r\n" + b"".join(b"X%d: y\r\n" % n for n in range(200)) + b"\r\n",
     b"GET / HTTP/1.1\r\nX: " + b"a" * 70_000 + b"\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n"],
)  # fmt: skip
def test_bytes_that_are_no_request(served, data):
    reply = raw(served, data)
    assert not reply or b" 200 " not in reply.split(b"\r\n")[0]
    assert ask(served, "GET", "/photos")[0] == 200  # it lives on


@pytest.mark.parametrize(
    "body",
    ["[" * 50_000, '{"id": 1e999}', '{"id": "x", "changes": {"notes": null}}', '{"changes": []}', "9" * 5000, "NaN",
     '""',
     '{"id": ID, "changes": {"notes": 5}}', '{"id": ID, "changes": {"labelled_at": "x"}}', "\x00",
     '{"id": ID, "changes": {"photo": "../x"}}', '{"id": ID, "changes": {"size_mm": "1e400"}}', '{"id": ID, "a": 1e',
     '{"id": ID, "changes": {"size_mm": "nan"}}', '{"id": ID, "changes": {"dial_process": "\\ud800"}}'],
)  # fmt: skip
def test_bodies_that_are_no_change(served, body):
    before = table(served)
    sent = body.replace("ID", f'"{first(served)}"').encode()
    assert ask(served, "POST", "/change", sent)[0] in (400, 404, 422)
    assert table(served) == before


@pytest.mark.parametrize(
    "point", ["[NaN, 1]", "[1e999, 1]", '["a", 1]', "[null, 1]", f"[1{'0' * 400}, 1]", "[[], {}]", "[1]"]
)
def test_rim_points_that_are_none(served, point):
    before = table(served)
    points = f"[[10, 10], [20, 10], [20, 20], [10, 20], {point}]"
    status = ask(served, "POST", "/rim", f'{{"id": "{first(served)}", "points": {points}}}'.encode())[0]
    assert status in (400, 422) and table(served) == before


def test_text_that_no_file_can_hold_is_saved_as_text(served):
    """A lone half of a surrogate pair, control and direction marks in notes."""
    change = b'{"id": "%s", "changes": {"notes": "a\\ud800b\\u0000c\\r\\n=1"}}' % first(served).encode()
    status, _, body = ask(served, "POST", "/change", change)
    assert status == 200
    assert served.store.row(next(iter(served.folder)))["notes"] == "a b c =1"
    assert json.loads(body)["row"]["notes"] == "a b c =1" and b"\x00" not in table(served)


def test_a_client_that_drips_meets_an_end(served, monkeypatch):
    """One byte at a time would hold a connection for ever if each byte were waited for anew."""
    monkeypatch.setattr(server, "SLOWEST_S", 0.6)
    monkeypatch.setattr(doors, "PATIENCE_S", 0.6)
    let_in = (
        f"POST /change HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: http://127.0.0.1:{served.port}\r\n"
        f"Cookie: dialtell-label-{served.port}={served.token}\r\nContent-Type: application/json\r\n"
        "Content-Length: 60000\r\n\r\n"
    ).encode()
    for start in (b"GET / HTTP/1.1\r\nHost: x\r\nX: ", let_in, let_in.replace(b"Cookie: ", b"X: ")):
        began = time.monotonic()
        with closing(socket.create_connection(("127.0.0.1", served.port), timeout=10)) as connection:
            connection.sendall(start)
            ended = False
            while not ended and time.monotonic() < began + 20:
                try:
                    connection.sendall(b"a")
                    connection.settimeout(0.05)
                    ended = connection.recv(1000) == b""
                except TimeoutError:
                    continue
                except OSError:
                    ended = True
            assert ended
    assert ask(served, "GET", "/photos")[0] == 200


def test_connections_that_say_nothing_are_few(served, monkeypatch):
    """Above so many at once a request is refused; when they go, or have said nothing for long, all is served again."""
    monkeypatch.setattr(server, "SLOWEST_S", 3)
    held = [socket.create_connection(("127.0.0.1", served.port), timeout=10) for _ in range(server.MOST_CONNECTIONS)]
    try:
        time.sleep(0.3)  # until all of them are taken
        assert ask(served, "GET", "/photos")[0] == 503
        for connection in held:
            assert connection.recv(100) == b""  # ended
        assert ask(served, "GET", "/photos")[0] == 200
    finally:
        for connection in held:
            connection.close()


def test_a_body_that_was_cut_off_changes_nothing(served):
    """Whole JSON, but fewer bytes than were announced."""
    before = table(served)
    body = json.dumps({"id": first(served), "changes": {"dial_process": "painted"}}).encode()
    head = (
        f"POST /change HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: http://127.0.0.1:{served.port}\r\n"
        f"Cookie: dialtell-label-{served.port}={served.token}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body) + 10}\r\n\r\n"
    ).encode()
    with closing(socket.create_connection(("127.0.0.1", served.port), timeout=10)) as connection:
        connection.sendall(head + body)
        connection.shutdown(socket.SHUT_WR)
        assert connection.recv(65536) == b""
    assert table(served) == before
