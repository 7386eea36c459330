"""The label page's server: on this machine only, for one browser that was given the token.

It binds 127.0.0.1. Every request must name this server as its Host (against DNS rebinding) and carry the token: in
the address once, then as a cookie that scripts cannot read and other sites do not send. A write must also state this
server as its Origin and come as JSON. Photographs are asked for by their content's hash, never by a path. What a
photograph was called is in no response before it has a label, unless the server was told to show calls.
"""

from __future__ import annotations

import hmac
import importlib.resources
import io
import json
import logging
import secrets
import socket
import socketserver
import threading
import time
from collections.abc import Callable, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from dialtell.evaluate.label.photos import LabelPhoto, PhotoFolder
from dialtell.evaluate.label.rim import rim_ellipse
from dialtell.evaluate.label.store import LabelStore
from dialtell.evaluate.label.views import LabelViews
from dialtell.evaluate.pages.headers import HEADERS
from dialtell.synth.shared.errors import DialtellError, OutputError

HOST = "127.0.0.1"
LARGEST_BODY = 65_536  # bytes
PATIENCE_S = 30.0  # for a whole request to come, however slowly, and again for its answer to be taken
MOST_CONNECTIONS = 32  # at once: a browser opens six
COOKIE = "dialtell-label"

PAGES = {
    "/": ("text/html; charset=utf-8", ("label.html",)),
    "/label.js": ("text/javascript; charset=utf-8", ("label_lens.js", "label.js")),
    "/label.css": ("text/css; charset=utf-8", ("inspection.css", "label.css")),
}
log = logging.getLogger("dialtell.label")


class Refusal(Exception):
    """A request that is answered with an error: its status, and why in words."""

    def __init__(self, status: HTTPStatus, words: str) -> None:
        super().__init__(words)
        self.status = status


class LabelServer(ThreadingHTTPServer):
    """Serves the label page of one folder until `shutdown`.

    port : 0 for any free one. show_calls : do not keep the tool's call back until a photograph has its label.
    Raises OutputError when the port is taken.
    """

    daemon_threads = True
    patience_s = PATIENCE_S

    def __init__(
        self, folder: PhotoFolder, store: LabelStore, views: LabelViews, *, port: int = 0, show_calls: bool = False
    ) -> None:
        self.folder, self.store, self.views, self.show_calls = folder, store, views, show_calls
        self.token = secrets.token_urlsafe(32)
        self.seen: set[str] = set()  # photographs whose call was shown
        self._places = threading.BoundedSemaphore(MOST_CONNECTIONS)
        try:
            super().__init__((HOST, port), _Handler)
        except OSError as error:
            raise OutputError(
                f"port {port} cannot be used ({error.strerror}); leave --port out for a free one"
            ) from error

    def server_bind(self) -> None:
        """Bind without asking for this machine's name, which can take seconds."""
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = HOST, self.port

    @property
    def port(self) -> int:
        """The port it listens on."""
        return int(self.server_address[1])

    @property
    def url(self) -> str:
        """The page's address, token included."""
        return f"http://{HOST}:{self.port}/?token={self.token}"

    @property
    def hosts(self) -> frozenset[str]:
        """What a request may name as its Host."""
        names = {f"{name}:{self.port}" for name in (HOST, "localhost")}
        return frozenset(names | ({HOST, "localhost"} if self.port == 80 else set()))

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is no fault of ours."""
        log.debug("a connection ended early", exc_info=True)

    def process_request(self, request: Any, client_address: Any) -> None:
        """Serve a connection in a thread of its own, or close it where too many are open."""
        if not self._places.acquire(blocking=False):
            self.shutdown_request(request)
            return
        try:
            super().process_request(request, client_address)
        except BaseException:
            self._places.release()
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Serve a connection to its end."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._places.release()

    # --- what is asked ---

    def overview(self) -> dict[str, Any]:
        """All photographs and whether each is labelled."""
        photos = [{"id": photo.id, "name": photo.name, "labelled": self.store.labelled(photo)} for photo in self.folder]
        return {
            "file": self.store.path.name,
            "labeller": self.store.labeller,
            "show_calls": self.show_calls,
            "photos": photos,
        }

    def details(self, photo: LabelPhoto, said: list[str] | None = None) -> dict[str, Any]:
        """A photograph's cells and size; an error in words when it cannot be read."""
        told: dict[str, Any] = {"id": photo.id, "name": photo.name, "row": self.store.row(photo), "said": said or []}
        try:
            picture = self.views.picture(self.folder.checked(photo.id))
        except DialtellError as error:
            return told | {"width": 0, "height": 0, "error": str(error)}
        return told | {"width": picture.width, "height": picture.height, "error": ""}

    # --- what is done ---

    def change(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Save cells: {"id", "changes": {column: value}}."""
        photo, changes = self.photo(body.get("id")), body.get("changes")
        if not isinstance(changes, dict) or not all(isinstance(value, str) for value in changes.values()):
            raise Refusal(HTTPStatus.BAD_REQUEST, "changes are no columns with text")
        seen = self.show_calls or photo.id in self.seen
        return self.details(photo, self.store.change(photo, changes, seen=seen))

    def rim(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Save the outline through rim points: {"id", "points": [[x, y], ...]} in px; no points, no outline."""
        photo, points = self.photo(body.get("id")), body.get("points")
        if not isinstance(points, list) or not all(isinstance(point, list) and len(point) == 2 for point in points):
            raise Refusal(HTTPStatus.BAD_REQUEST, "points are no pairs of numbers")
        picture = self.views.picture(photo)
        try:
            text = rim_ellipse(points, picture.width, picture.height).text if points else ""
        except OverflowError as error:  # a whole number beyond any float
            raise Refusal(HTTPStatus.BAD_REQUEST, "points are no pairs of numbers") from error
        self.store.set_outline(photo, text)
        return self.details(photo)

    def undo(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Take the last change back; {} when there is nothing left."""
        number = self.store.undo()
        photo = self.folder.photos.get(number or "")
        return {} if photo is None else self.details(photo, ["Taken back."])

    def call(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Show the tool's call of a photograph that has its label: {"id"}."""
        photo = self.photo(body.get("id"))
        if not self.show_calls and not self.store.labelled(photo):
            raise Refusal(HTTPStatus.FORBIDDEN, "label the dial first, then the call can be shown")
        told = self.views.call(photo, self.store.known(photo, max_pixels=self.views.max_pixels))
        self.seen.add(photo.id)
        return told

    def photo(self, number: object) -> LabelPhoto:
        """The photograph of an id. Refusal when there is none, PhotoError when it was changed or taken away."""
        if not isinstance(number, str) or number not in self.folder.photos:
            raise Refusal(HTTPStatus.NOT_FOUND, "there is no such photograph")
        return self.folder.checked(number)


class _Timely(io.RawIOBase):
    """What comes over a connection until a moment; TimeoutError then, however slowly it drips."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self.until = 0.0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        left = self.until - time.monotonic()
        if left <= 0:
            raise TimeoutError
        self._connection.settimeout(left)
        return self._connection.recv_into(buffer)


class _Handler(BaseHTTPRequestHandler):
    """One connection."""

    server: LabelServer
    protocol_version = "HTTP/1.1"

    def setup(self) -> None:
        super().setup()
        self.rfile.close()
        self._coming = _Timely(self.connection)
        self.rfile = io.BufferedReader(self._coming)

    def handle_one_request(self) -> None:
        self._coming.until = time.monotonic() + self.server.patience_s
        super().handle_one_request()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What is no request, or of no method we know: answered as all else is, and the connection ends."""
        self.close_connection = True
        if not hasattr(self, "request_version") or self.request_version == "HTTP/0.9":
            return
        self._send(json.dumps({"error": "no request this server answers"}).encode(), "application/json",
                   HTTPStatus(code))  # fmt: skip

    def version_string(self) -> str:
        return "dialtell"

    def log_message(self, format: str, *args: object) -> None:
        log.debug("%s", ascii(format % args))

    def do_GET(self) -> None:
        self._answer(self._get)

    def do_POST(self) -> None:
        self._answer(self._post)

    def _answer(self, work: Callable[[], None]) -> None:
        try:
            self.connection.settimeout(self.server.patience_s)
            self._admit_host()
            work()
        except Refusal as refusal:
            self._refuse(refusal.status, str(refusal))
        except OutputError as error:
            log.error("%s", error)
            self._refuse(HTTPStatus.INSUFFICIENT_STORAGE, str(error))
        except DialtellError as error:
            self._refuse(HTTPStatus.UNPROCESSABLE_ENTITY, str(error))
        except (ConnectionError, TimeoutError):
            self.close_connection = True
        except Exception as error:  # a fault of ours on one photograph must not lose the page
            log.error("internal error: %s: %s; please report it", type(error).__name__, error)
            log.debug("traceback", exc_info=True)
            self._refuse(HTTPStatus.INTERNAL_SERVER_ERROR, f"internal error: {type(error).__name__}")

    # --- who may ask ---

    def _admit_host(self) -> None:
        named = self.headers.get_all("Host") or []
        if len(named) != 1 or named[0].strip().lower() not in self.server.hosts:
            raise Refusal(HTTPStatus.MISDIRECTED_REQUEST, "this server is not of that name")

    def _admit_token(self) -> None:
        name = f"{COOKIE}-{self.server.port}"
        cookies = [part.strip().partition("=") for part in self.headers.get("Cookie", "").split(";")]
        given = [value for key, _, value in cookies if key == name]
        if not any(self._is_token(value) for value in given):
            raise Refusal(HTTPStatus.FORBIDDEN, "open the address that `dialtell label` printed, with its token")

    def _is_token(self, text: str) -> bool:
        return hmac.compare_digest(text.encode("utf-8", "surrogateescape"), self.server.token.encode())

    # --- reading ---

    def _get(self) -> None:
        try:
            address = urlsplit(self.path)
        except ValueError as error:  # such as http://[
            raise Refusal(HTTPStatus.BAD_REQUEST, "this is no address") from error
        tokens = parse_qs(address.query).get("token", [])
        if address.path == "/" and len(tokens) == 1 and self._is_token(tokens[0]):
            cookie = f"{COOKIE}-{self.server.port}={self.server.token}; Path=/; HttpOnly; SameSite=Strict"
            self._send(b"", "text/plain", HTTPStatus.SEE_OTHER, {"Location": "/", "Set-Cookie": cookie})
            return
        self._admit_token()
        server, (kind, _, number) = self.server, address.path[1:].partition("/")
        if address.path in PAGES:
            form, names = PAGES[address.path]
            self._send("\n".join(_own(name) for name in names).encode(), form)
        elif address.path == "/photos":
            self._send_json(server.overview())
        elif kind == "photo" and number in server.folder.photos:
            self._send_json(server.details(server.folder.photos[number]))
        elif kind == "dial":
            photo = server.photo(number)
            self._send_json(server.views.dial(photo, server.store.known(photo)))
        elif kind == "picture":
            jpeg = server.views.picture(server.photo(number)).jpeg
            self._send(jpeg, "image/jpeg", headers={"Cache-Control": "private, max-age=3600"})
        else:
            raise Refusal(HTTPStatus.NOT_FOUND, "there is nothing here")

    # --- writing ---

    def _post(self) -> None:
        body = self._body()
        self._admit_token()
        if self.headers.get("Origin", "").lower() not in {f"http://{host}" for host in self.server.hosts}:
            raise Refusal(HTTPStatus.FORBIDDEN, "this request comes from another page")
        if self.headers.get_content_type() != "application/json":
            raise Refusal(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "send JSON")
        acts = {"/change": self.server.change, "/rim": self.server.rim, "/undo": self.server.undo}
        act = (acts | {"/call": self.server.call}).get(self.path)
        if act is None:
            raise Refusal(HTTPStatus.NOT_FOUND, "there is nothing here")
        try:
            told = json.loads(body)
        except (ValueError, RecursionError) as error:
            raise Refusal(HTTPStatus.BAD_REQUEST, "this is no JSON") from error
        if not isinstance(told, dict):
            raise Refusal(HTTPStatus.BAD_REQUEST, "this is no JSON object")
        self._send_json(act(told))

    def _body(self) -> bytes:
        length = self.headers.get("Content-Length", "")
        if self.headers.get("Transfer-Encoding") or not (length.isascii() and length.isdecimal()):
            raise Refusal(HTTPStatus.LENGTH_REQUIRED, "say how long the request is")
        if len(length) > 9 or int(length) > LARGEST_BODY:
            raise Refusal(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"send at most {LARGEST_BODY} bytes")
        body = self.rfile.read(int(length))
        if len(body) < int(length):
            raise Refusal(HTTPStatus.BAD_REQUEST, "the request was cut off")
        self.connection.settimeout(self.server.patience_s)
        return body

    # --- answering ---

    def _send_json(self, told: Mapping[str, Any]) -> None:
        self._send(json.dumps(told, allow_nan=False).encode(), "application/json")

    def _refuse(self, status: HTTPStatus, words: str) -> None:
        if self.command != "GET" and status in _UNREAD:
            self.close_connection = True  # what is left of the request is not read
        self._send(json.dumps({"error": words}).encode(), "application/json", status)

    def _send(
        self,
        content: bytes,
        form: str,
        status: HTTPStatus = HTTPStatus.OK,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.send_response(status)
        for name, value in (HEADERS | dict(headers or {})).items():
            self.send_header(name, value)
        self.send_header("Content-Type", form)
        self.send_header("Content-Length", str(len(content)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)


_UNREAD = {HTTPStatus.MISDIRECTED_REQUEST, HTTPStatus.LENGTH_REQUIRED, HTTPStatus.REQUEST_ENTITY_TOO_LARGE}


def _own(name: str) -> str:
    return importlib.resources.files("dialtell.evaluate.pages").joinpath(name).read_text(encoding="utf-8")
