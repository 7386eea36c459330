"""A polite and wary reader of the web: few requests, slowly, only public hosts, never more bytes than allowed.

Every request goes to an address judged beforehand (local_addresses), redirects are followed by hand so that each step
is judged too, and a host that asks for patience or keeps failing gets it. Environment proxies are not used: behind
one, nobody could say which address is reached.
"""

from __future__ import annotations

import email.utils
import http.client
import io
import json
import logging
import socket
import ssl
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any, BinaryIO
from urllib.parse import urljoin

from dialtell.evaluate.museum.local_addresses import AddressError, Place, Resolver, addresses
from dialtell.evaluate.museum.web_address import DownloadError, HostFailed, Target, safe_address, target_of

REDIRECTS = 5
LONGEST_WAIT = 300.0  # s; a host that asks for more is left for another day
FAILURES_BEFORE_REST = 3  # downloads in a row that a host failed, all tries each, before it is left alone
MAX_ANSWER = 20_000_000  # bytes of JSON
_CHUNK = 65_536
_PASSING = {429, 500, 502, 503, 504}  # states a server may recover from
_REDIRECT = {301, 302, 303, 307, 308}

log = logging.getLogger("dialtell.gather")


class _Trouble(Exception):
    """A failure of `host` that may pass: worth another try, if `again`, after at least `wait` seconds."""

    def __init__(self, reason: str, host: str, *, wait: float = 0.0, again: bool = True) -> None:
        super().__init__(reason)
        self.host, self.wait, self.again = host, wait, again


@dataclass(frozen=True)
class WebAnswer:
    """What came: the last URL after redirects (keys left out), the content type in lower case, the bytes written."""

    url: str
    content_type: str
    size: int


class Web:
    """Fetches, one request at a time.

    delay_s : least pause between the end of one request to a host and the next to it, s.
    retries : further tries after a passing failure: 429, 500, 502, 503, 504, timeouts, broken connections.
    backoff_s : pause before the first further try, doubled each time; a longer Retry-After wins.
    timeout_s : of connecting and of each wait for bytes; deadline_s : of one whole answer's body.
    contact : address or page named in the User-Agent, as some museums ask of programs.
    allow : (host, port) pairs that need not be public; for a server of one's own.
    larger : what to do about an answer that is too long.
    clock, sleep, now, resolve, connect : time.monotonic, time.sleep, time.time and socket functions, or stand-ins.
    """

    def __init__(
        self,
        *,
        delay_s: float = 1.0,
        retries: int = 4,
        backoff_s: float = 2.0,
        timeout_s: float = 30.0,
        deadline_s: float = 600.0,
        contact: str = "",
        version: str = "0",
        allow: Collection[Place] = (),
        larger: str = "raise it with --max-megabytes",
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        now: Callable[[], float] = time.time,
        resolve: Resolver = socket.getaddrinfo,
        connect: Callable[..., socket.socket] = socket.create_connection,
    ) -> None:
        self.delay_s, self.retries, self.backoff_s = delay_s, retries, backoff_s
        self.timeout_s, self.deadline_s = timeout_s, deadline_s
        self.agent = f"dialtell/{version}" + (f" ({contact})" if contact else "")
        self.allow, self.larger = frozenset(allow), larger
        self.now = now
        self._clock, self._sleep, self._resolve, self._connect = clock, sleep, resolve, connect
        self._free: dict[str, float] = {}  # host: not to be asked before, on the clock
        self._failed: Counter[str] = Counter()  # host: downloads failed in a row
        self._tls: ssl.SSLContext | None = None

    def fetch(self, url: str, into: BinaryIO, *, max_bytes: int, kinds: Collection[str] = ()) -> WebAnswer:
        """Fetch a URL into an empty file, which is emptied again before a further try.

        max_bytes : the answer is dropped as soon as it is known to be longer.
        kinds : beginnings of content types to accept; an answer that names none is accepted. Empty: any.
        Raises DownloadError or AddressError; OSError only from `into`.
        """
        for trial in range(self.retries + 1):
            try:
                return self._follow(url, into, max_bytes, tuple(kinds))
            except _Trouble as trouble:
                pause = max(trouble.wait, self.backoff_s * 2**trial)
                if trouble.wait > LONGEST_WAIT:
                    self._failed[trouble.host] = FAILURES_BEFORE_REST
                    raise DownloadError(
                        f"{safe_address(url)}: {trouble.host} asks to be left alone for {trouble.wait:.0f} s; "
                        "try again then"
                    ) from trouble
                if trial == self.retries or not trouble.again:
                    self._failed[trouble.host] += 1
                    tries = f" ({trial + 1} tries)" if trial else ""
                    raise DownloadError(f"{safe_address(url)}: {trouble}{tries}; try again later") from trouble
                log.debug("%s: %s; again in %.0f s", safe_address(url), trouble, pause)
                self._free[trouble.host] = self._clock() + pause
                into.seek(0)
                into.truncate()
        raise AssertionError("unreachable")

    def document(self, url: str) -> Any:
        """Fetch and parse a JSON document of at most MAX_ANSWER bytes. Raises DownloadError."""
        body = io.BytesIO()
        self.fetch(url, body, max_bytes=MAX_ANSWER)
        try:
            return json.loads(body.getvalue())
        except (ValueError, RecursionError) as error:
            raise DownloadError(
                f"{safe_address(url)} answers with something that is not JSON; try again later, or look at it in a "
                "browser"
            ) from error

    def _follow(self, url: str, into: BinaryIO, max_bytes: int, kinds: tuple[str, ...]) -> WebAnswer:
        target, seen = target_of(url), set[Target]()
        while True:
            seen.add(target)
            with self._asked(target) as response:
                if response.status not in _REDIRECT:
                    return self._body(target, response, into, max_bytes, kinds)
                place = response.headers.get("Location", "")
            if not place:
                raise DownloadError(
                    f"{safe_address(target.url)} redirects to nowhere; its museum may have moved it", response.status
                )
            onward = target_of(urljoin(target.url, place))
            if onward in seen or len(seen) > REDIRECTS:
                what = "in a circle" if onward in seen else f"more than {REDIRECTS} times"
                raise DownloadError(f"{safe_address(url)} redirects {what}; its museum may have moved it")
            if target.secure and not onward.secure:
                raise DownloadError(
                    f"{safe_address(url)} redirects from https to {safe_address(onward.url)}, which is not followed"
                )
            target = onward

    @contextmanager
    def _asked(self, target: Target) -> Iterator[http.client.HTTPResponse]:
        """Ask once, when the host's turn has come; passing failures are _Trouble."""
        if self._failed[target.host] >= FAILURES_BEFORE_REST:
            raise HostFailed(f"{safe_address(target.url)}: {target.host} kept failing and is left alone for this run")
        wait = self._free.get(target.host, 0.0) - self._clock()
        if wait > 0:
            self._sleep(wait)
        kind = http.client.HTTPSConnection if target.secure else http.client.HTTPConnection
        try:
            with closing(kind(target.host, target.port, timeout=self.timeout_s)) as connection:
                try:
                    connection.sock = self._socket(target)
                    headers = {"User-Agent": self.agent, "Accept-Encoding": "identity", "Connection": "close"}
                    connection.request("GET", target.path, headers=headers)
                    response = connection.getresponse()
                except (AddressError, ssl.SSLCertVerificationError) as error:
                    raise DownloadError(f"{safe_address(target.url)}: {error}") from error
                except (OSError, http.client.HTTPException) as error:
                    known = getattr(error, "errno", None) != socket.EAI_NONAME or not isinstance(error, socket.gaierror)
                    raise _Trouble(_reason(error), target.host, again=known) from error
                with closing(response):  # it holds the socket when the connection is to be closed
                    log.debug("%s %s", response.status, safe_address(target.url))
                    if response.status in _PASSING:
                        patience = self._patience(response.headers.get("Retry-After", ""))
                        raise _Trouble(f"the server answers {_status(response)}", target.host, wait=patience)
                    try:
                        yield response
                    except _Trouble:
                        raise
                    except DownloadError:  # of the file, not of the host
                        self._failed[target.host] = 0
                        raise
                    self._failed[target.host] = 0
        finally:
            self._free[target.host] = self._clock() + self.delay_s

    def _socket(self, target: Target) -> socket.socket:
        """Connected to one of the judged addresses, with TLS that proves the host's name where asked for."""
        places = addresses(target.host, target.port, allow=self.allow, resolve=self._resolve)
        for place in places:
            try:
                plain = self._connect(place, timeout=self.timeout_s)
                break
            except OSError:
                if place == places[-1]:
                    raise
        if not target.secure:
            return plain
        try:
            self._tls = self._tls or ssl.create_default_context()
            return self._tls.wrap_socket(plain, server_hostname=target.host)
        except BaseException:
            plain.close()
            raise

    def _body(
        self,
        target: Target,
        response: http.client.HTTPResponse,
        into: BinaryIO,
        max_bytes: int,
        kinds: tuple[str, ...],
    ) -> WebAnswer:
        where, head = safe_address(target.url), response.headers
        if response.status != 200:
            raise DownloadError(f"{where}: the server answers {_status(response)}", response.status)
        kind = head.get("Content-Type", "").partition(";")[0].strip().lower()
        if kind and kinds and not kind.startswith(kinds):
            raise DownloadError(f"{where} is {safe_address(kind)}, not an image; look at it in a browser")
        if head.get("Content-Encoding", "identity").lower() != "identity":
            raise DownloadError(f"{where} comes compressed although that was not asked for; look at it in a browser")
        too_much = DownloadError(f"{where} has more than the limit of {max_bytes} bytes; {self.larger}")
        length = response.length  # None without a Content-Length
        if length is not None and length > max_bytes:
            raise too_much
        size, end = 0, self._clock() + self.deadline_s
        while True:
            try:
                chunk = response.read1(_CHUNK)
            except (OSError, http.client.HTTPException) as error:
                raise _Trouble(_reason(error), target.host) from error
            if not chunk:
                break
            size += len(chunk)
            if size > max_bytes:
                raise too_much
            if self._clock() > end:
                raise _Trouble(f"not whole after {self.deadline_s:g} s", target.host)
            into.write(chunk)
        if length is not None and size < length:
            raise _Trouble(f"cut off after {size} of {length} bytes", target.host)
        return WebAnswer(where, kind, size)

    def _patience(self, text: str) -> float:
        """Seconds asked for by a Retry-After header (RFC 9110, 10.2.3: seconds or a date), 0 when unreadable."""
        text = text.strip()
        if text.isdecimal():
            return float(text[:9])
        try:
            return max(0.0, email.utils.parsedate_to_datetime(text).timestamp() - self.now())
        except (ValueError, TypeError, OverflowError):
            return 0.0


def _status(response: http.client.HTTPResponse) -> str:
    return safe_address(f"{response.status} {response.reason}".strip())[:80]


def _reason(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "no answer in time"
    if isinstance(error, http.client.IncompleteRead):
        return "the answer was cut off"
    return f"the connection failed ({getattr(error, 'strerror', None) or type(error).__name__})"
