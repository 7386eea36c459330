"""Web addresses: taking them apart, refusing all but plain http and https ones, and showing them in messages."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from dialtell.synth.shared.errors import DialtellError


class DownloadError(DialtellError):
    """Something could not be fetched; `status` is the HTTP status when the server's answer was the reason."""

    def __init__(self, message: str, status: int | None = None) -> None:
        super().__init__(message)
        self.status = status


class HostFailed(DownloadError):
    """A host kept failing, and is asked no more."""


@dataclass(frozen=True)
class Target:
    """Where a URL leads: what to connect to, and what to ask there."""

    secure: bool
    host: str
    port: int
    path: str  # with the query, percent-encoded

    @property
    def url(self) -> str:
        """The address as a URL, the usual port left out."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        port = "" if self.port == (443 if self.secure else 80) else f":{self.port}"
        return f"http{'s' if self.secure else ''}://{host}{port}{self.path}"


def target_of(url: str) -> Target:
    """Take a URL apart; DownloadError unless it is a plain http or https one, without a user name in it."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
        host = host if ":" in host else host.encode("idna").decode("ascii")
    except ValueError as error:  # UnicodeError is one
        raise DownloadError(f"{safe_address(url)} is no valid URL ({error})") from error
    if parts.scheme not in ("http", "https"):
        raise DownloadError(f"{safe_address(url)} is no http or https URL; only those are fetched")
    if not host or parts.username is not None or re.search(r"[\s\x00-\x1f\x7f\\]", url) or port == 0:
        raise DownloadError(f"{safe_address(url)} is no valid URL; give http(s)://host/path, spaces as %20")
    path = quote(parts.path or "/", safe="/%:@!$&'()*+,;=~")
    query = quote(parts.query, safe="/%:@!$&'()*+,;=~?")
    secure = parts.scheme == "https"
    return Target(secure, host, port or (443 if secure else 80), f"{path}?{query}" if query else path)


def safe_address(url: str) -> str:
    """A URL fit for a message: keys left out, nothing a terminal could obey, not endless."""
    safe = re.sub(r"(?i)([?&](?:api_?key|wskey)=)[^&#]*", r"\1...", url)
    safe = "".join(mark if mark.isprintable() else "?" for mark in safe)
    return safe if len(safe) <= 300 else f"{safe[:297]}..."
