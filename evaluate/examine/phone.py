"""The phone's door: photographs come in from a phone on the same network, and nothing goes out.

It is open only where it was asked for at the start, and lets in only who gives the code that the page shows: once, for
one dial, for a while. After a few wrong codes the code is void. A phone that was let in can add photographs to that
dial, so many and no more; it is told nothing of it, nor of any other.
"""

from __future__ import annotations

import asyncio
import base64
import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import Scope

from dialtell.evaluate.examine.receiving import Receiving
from dialtell.evaluate.serving.answers import application
from dialtell.evaluate.serving.doors import Doors, Refusal, cookies, told

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # those that nobody takes for one another
CODE_S, SESSION_S = 300.0, 1800.0
MOST_WRONG = 5
MOST_PHOTOGRAPHS, MOST_BYTES = 200, 4 * 2**30  # of one phone
PAGES = {
    "/": ("text/html; charset=utf-8", ("examine_phone.html",)),
    "/phone.js": ("text/javascript; charset=utf-8", ("examine_phone.js",)),
    "/phone.css": ("text/css; charset=utf-8", ("examine.css", "examine_phone.css")),
}
_LONGEST_UPLOAD_S = 600.0


@dataclass
class Session:
    """A phone that was let in. until : by the clock. photographs, size : came so far, bytes."""

    token: str
    dial: int
    until: float
    photographs: int = 0
    size: int = 0


class Phone:
    """Which code holds, and which phone is in. address : of the door, with port. clock : seconds."""

    def __init__(self, address: str, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.address, self._clock = address, clock
        self._code, self._dial, self._until, self._wrong = "", 0, 0.0, 0
        self._session: Session | None = None

    def invite(self, dial: int) -> dict[str, Any]:
        """A new code, for one dial; whoever was in before is out. address, code, qr (PNG as a data URL), minutes."""
        self._code = "".join(secrets.choice(LETTERS) for _ in range(8))
        self._dial, self._until, self._wrong, self._session = dial, self._clock() + CODE_S, 0, None
        code, address = f"{self._code[:4]}-{self._code[4:]}", f"http://{self.address}/"
        # what follows # stays in the phone: it is in no request
        return {"address": address, "code": code, "minutes": CODE_S / 60, "qr": _square(f"{address}#{code}")}

    def dismiss(self) -> None:
        """Nobody is let in, and who is in is out."""
        self._code, self._session = "", None

    def state(self) -> dict[str, Any] | None:
        """dial; said : "waiting", "in", "void" (too many wrong codes) or "late"; came : photographs. None if closed."""
        if (session := self._session) is not None:
            said = "in" if self._clock() < session.until else "late"
            return {"dial": session.dial, "said": said, "came": session.photographs}
        if self._code:
            said = "void" if self._wrong >= MOST_WRONG else "waiting" if self._clock() < self._until else "late"
            return {"dial": self._dial, "said": said, "came": 0}
        return None

    def enter(self, code: str) -> Session:
        """Let in who gives the code. Raises Refusal."""
        if not self._code or self._clock() >= self._until:
            raise Refusal(403, "this code no longer holds; ask for a new one at the computer")
        if self._wrong >= MOST_WRONG:
            raise Refusal(429, "too many wrong codes were tried; ask for a new one at the computer")
        given = "".join(mark for mark in code.upper() if mark.isalnum())
        if not hmac.compare_digest(given.encode("utf-8", "surrogateescape"), self._code.encode()):
            self._wrong += 1
            raise Refusal(403, "this is not the code; look at the computer again")
        self._code = ""  # it lets one phone in
        self._session = Session(secrets.token_urlsafe(32), self._dial, self._clock() + SESSION_S)
        return self._session

    def known(self, token: str) -> Session | None:
        """The phone of a token, while it is in."""
        session = self._session
        if session is None or self._clock() >= session.until or not hmac.compare_digest(
            token.encode("utf-8", "surrogateescape"), session.token.encode()
        ):  # fmt: skip
            return None
        return session


def _square(text: str) -> str:
    """A QR code as a data URL, 4 px a module with its quiet zone."""
    import cv2
    import numpy as np

    modules = cv2.QRCodeEncoder.create().encode(text)
    image = np.pad(modules, 4, constant_values=255).repeat(4, axis=0).repeat(4, axis=1)
    return "data:image/png;base64," + base64.b64encode(cv2.imencode(".png", image)[1].tobytes()).decode()


class PhoneDoors(Doors):
    """Admits requests to the phone's page; all but that page and the code needs a phone that is in."""

    def __init__(self, phone: Phone, receiving: Receiving) -> None:
        host, _, port = phone.address.rpartition(":")
        super().__init__(_rooms(self, receiving), "phone", port=int(port), names=(host,))
        # a connection each request: whoever says nothing on one is soon rid of
        self.headers = {**self.headers, "Connection": "close"}
        del self.headers["Cross-Origin-Opener-Policy"]  # which browsers heed over https alone
        self.phone = phone

    def _introduced(self, scope: Scope) -> bytes:
        return b""

    def _admit_token(self, scope: Scope) -> None:
        if scope["path"] in PAGES or scope["path"] == "/enter":
            return
        found = (self.phone.known(value) for value in cookies(scope, self.named))
        session = next((session for session in found if session is not None), None)
        if session is None:
            raise Refusal(403, "give the code that the computer shows")
        scope["dialtell.session"] = session


def _rooms(doors: PhoneDoors, receiving: Receiving) -> Starlette:
    at_once = asyncio.Semaphore(2)

    async def enter(request: Request) -> Response:
        code = (await told(request)).get("code")
        session = doors.phone.enter(code if isinstance(code, str) else "")
        receiving.desk.version += 1
        cookie = f"{doors.named}={session.token}; Path=/; HttpOnly; SameSite=Strict"
        return JSONResponse({"in": True}, headers={"Set-Cookie": cookie})

    async def add(request: Request) -> Response:
        session: Session = request.scope["dialtell.session"]
        if session.photographs >= MOST_PHOTOGRAPHS or session.size >= MOST_BYTES:
            raise Refusal(429, "so many photographs are enough; ask for a new code at the computer")
        session.photographs += 1
        try:
            async with at_once, asyncio.timeout(_LONGEST_UPLOAD_S):
                _, size = await receiving.add(request, session.dial, most=MOST_BYTES - session.size)
        except TimeoutError as error:
            raise Refusal(408, "the photograph came too slowly; add it again") from error
        session.size += size
        return JSONResponse({"kept": True}, 201)

    routes = [
        Route("/enter", enter, methods=["POST"]),
        Route("/photographs", add, methods=["POST"]),
    ]
    return application(PAGES, routes)
