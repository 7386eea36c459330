"""Who may ask a server of ours, and what every answer carries: this machine's own browser, given the token.

Every request must name this server as its Host (against DNS rebinding) and carry the token: in the address once, then
as a cookie that scripts cannot read and other sites do not send. A write must also state this server as its Origin.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import secrets
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
# a page may load and ask its own server only
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
LARGEST_BODY = 65_536  # bytes, but for photographs
PATIENCE_S = 30.0  # for a request's body, and for each further part of a photograph


class Refusal(Exception):
    """A request that is answered with an error: its status, and why in words."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Doors:
    """Admits requests to `app`. verb : whose page it is. port : of the server. token : the secret in the page's
    address, "" for a new one. names : of the server, as a browser may call it."""

    def __init__(
        self, app: ASGIApp, verb: str, *, port: int, token: str = "", names: tuple[str, ...] = (HOST, "localhost")
    ) -> None:
        self.app, self.verb, self.port, self.headers = app, verb, port, HEADERS
        self.token = token or secrets.token_urlsafe(32)
        self.named = f"dialtell-{verb}-{port}"  # the cookie: a host's ports share theirs
        self.hosts = frozenset({f"{name}:{port}" for name in names} | (set(names) if port == 80 else set()))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((name.lower().encode(), value.encode()) for name, value in self.headers.items()
                      if name.lower().encode() not in given),
                ]  # fmt: skip
            await send(message)

        try:
            self._admit_host(scope)
            if cookie := self._introduced(scope):
                headers = [(b"location", b"/"), (b"set-cookie", cookie), (b"content-length", b"0")]
                await answer({"type": "http.response.start", "status": 303, "headers": headers})
                await answer({"type": "http.response.body", "body": b""})
                return
            self._admit_token(scope)
            if scope["method"] not in ("GET", "HEAD"):
                self._admit_origin(scope)
        except Refusal as refusal:
            content = json.dumps({"error": str(refusal)}).encode()
            headers = [(b"content-type", b"application/json"), (b"content-length", str(len(content)).encode()),
                       (b"connection", b"close")]  # fmt: skip
            await answer({"type": "http.response.start", "status": refusal.status, "headers": headers})
            await answer({"type": "http.response.body", "body": content})
            return
        await self.app(scope, receive, answer)

    def _admit_host(self, scope: Scope) -> None:
        named = _given(scope, b"host")
        if len(named) != 1 or named[0].strip().lower() not in self.hosts:
            raise Refusal(421, "this server is not of that name")

    def _introduced(self, scope: Scope) -> bytes:
        """The cookie for a browser that opened the address with its token; else nothing."""
        tokens = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        if scope["path"] != "/" or scope["method"] != "GET" or len(tokens) != 1 or not self._is_token(tokens[0]):
            return b""
        return f"{self.named}={self.token}; Path=/; HttpOnly; SameSite=Strict".encode()

    def _admit_token(self, scope: Scope) -> None:
        if not any(self._is_token(value) for value in cookies(scope, self.named)):
            raise Refusal(403, f"open the address that `dialtell {self.verb}` printed, with its token")

    def _admit_origin(self, scope: Scope) -> None:
        origins = _given(scope, b"origin")
        if len(origins) != 1 or origins[0].lower() not in {f"http://{host}" for host in self.hosts}:
            raise Refusal(403, "this request comes from another page")

    def _is_token(self, text: str) -> bool:
        return hmac.compare_digest(text.encode("utf-8", "surrogateescape"), self.token.encode())


def _given(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]


def cookies(scope: Scope, name: str) -> list[str]:
    """All values that a request gives a cookie."""
    given = []
    for line in _given(scope, b"cookie"):
        try:
            given += [value.value for key, value in SimpleCookie(line).items() if key == name]
        except CookieError:
            continue
    return given


async def told(request: Request) -> dict[str, Any]:
    """The JSON object of a request. Raises Refusal."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise Refusal(415, "send JSON")
    length = request.headers.get("content-length", "")
    if "transfer-encoding" in request.headers or not (length.isascii() and length.isdecimal()):
        raise Refusal(411, "say how long the request is")
    if len(length) > 9 or int(length) > LARGEST_BODY:
        raise Refusal(413, f"send at most {LARGEST_BODY} bytes")
    try:
        async with asyncio.timeout(PATIENCE_S):
            body = await request.body()  # no longer than it said
    except TimeoutError as error:
        raise Refusal(408, "the request came too slowly") from error
    try:
        found = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise Refusal(400, "this is no JSON") from error
    if not isinstance(found, dict):
        raise Refusal(400, "this is no JSON object")
    return found
