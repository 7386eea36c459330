"""Photographs named by an address, brought from where they lie by the process that judges them.

http and https are asked by the wary reader of the museums, and only hosts that were named; s3://BUCKET/KEY goes through
fsspec and its s3fs, with the rights of the machine that judges; file:///PATH is a path there. Nothing else is followed:
fsspec alone would also take chains (zip://a::http://b), caches and two dozen protocols.
"""

from __future__ import annotations

import re
import socket
import tempfile
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from importlib import metadata
from pathlib import Path
from typing import Any, BinaryIO
from urllib.parse import unquote

from dialtell.evaluate.museum.local_addresses import AddressError, Place
from dialtell.evaluate.museum.web import Web
from dialtell.evaluate.museum.web_address import DownloadError, HostFailed, safe_address, target_of
from dialtell.synth.shared.errors import OutputError, ParameterError, PhotoError
from dialtell.synth.shared.tables import read_table, table_text

Source = Path | str  # of a photograph: a path, or an address

WEB, STORES = ("http", "https"), ("s3",)
KINDS = ("image/", "application/octet-stream", "binary/octet-stream")
LARGEST = 200_000_000  # bytes of one photograph
FAILURES = 3  # of a store in a row after which the run ends, to be gone on with when the store answers
KEYS_REFUSED = (
    "InvalidAccessKeyId", "SignatureDoesNotMatch", "ExpiredToken", "InvalidToken", "AuthorizationHeaderMalformed",
    "RequestTimeTooSkewed",
)  # fmt: skip
DEADLINE_S = 120.0  # of one photograph from the web, each try
_KEY = re.compile(r"[A-Za-z0-9._-]+/.")  # BUCKET/KEY
_ADDRESS = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+)://")


def is_address(word: str) -> bool:
    """Whether a word is an address rather than a path."""
    return _ADDRESS.match(word) is not None


def listed(file: Path) -> list[str]:
    """What a list names: a line each, or the cells of the column `photo` of a table named *.csv. ParameterError."""
    if file.suffix.lower() == ".csv":
        table = read_table(file, ("photo",))
        words = [table.named(cells)["photo"] for _, cells in table.rows]
    else:
        words = [line.strip() for line in table_text(file).removeprefix("\ufeff").split("\n")]
    return [word for word in words if word]


def sound(addresses: Iterable[str], hosts: Collection[Place]) -> tuple[list[str], list[tuple[str, PhotoError]]]:
    """The addresses that can be asked, each once in order, and the others with what is wrong.

    Raises ParameterError naming web hosts that are not among `hosts`, before anything is asked.
    """
    good: list[str] = []
    bad: list[tuple[str, PhotoError]] = []
    strange: dict[str, None] = {}
    for address in dict.fromkeys(addresses):
        found = _ADDRESS.match(address)
        scheme, rest = (found[1].lower(), address[found.end() :]) if found else ("", "")
        if scheme in WEB:
            try:
                target = target_of(address)
            except DownloadError as error:
                bad.append((address, PhotoError(str(error))))
                continue
            if (target.host.lower(), target.port) not in hosts:
                strange[f"{f'[{target.host}]' if ':' in target.host else target.host}:{target.port}"] = None
            good.append(address)
        elif "::" in address or not (_KEY.match(rest) if scheme in STORES else scheme == "file" and rest[:1] == "/"):
            said = (
                f"{safe_address(address)} is no address that is read; give file:///PATH, s3://BUCKET/KEY, http:// or "
                "https://"
            )
            bad.append((address, PhotoError(said)))
        else:
            good.append(address)
    if strange:
        more = ", ..." if len(strange) > 5 else ""
        raise ParameterError(
            f"photographs lie on {', '.join(list(strange)[:5])}{more}; name each host that may be asked with "
            "--allow-host HOST:PORT"
        )
    return good, bad


class Fetcher:
    """Brings photographs. hosts : (host, port) pairs of the web that may be asked, none else, by redirects neither."""

    def __init__(self, hosts: Collection[Place]) -> None:
        self.hosts = frozenset(hosts)
        self._failed = 0
        self._open = set[str]()  # buckets that gave something: a refusal there is of a photograph
        self._web = Web(
            delay_s=0.0, retries=2, deadline_s=DEADLINE_S, version=metadata.version("dialtell"), allow=self.hosts,
            resolve=self._named, larger="scale it down",
        )  # fmt: skip

    @contextmanager
    def brought(self, address: str) -> Iterator[Path]:
        """A file with the photograph, which goes when the context ends.

        Raises PhotoError or DownloadError of this photograph; OutputError when the place it lies at keeps failing.
        """
        if address.lower().startswith("file:"):
            yield Path(unquote(address[len("file://") :]))
            return
        web = address.lower().startswith(WEB)
        last = unquote(address.partition("?")[0]) if web else address  # a store's keys stand as they are
        name = re.sub(r"[^\w.-]", "_", last.rpartition("/")[2])[-80:]
        with tempfile.TemporaryDirectory(prefix="dialtell-", ignore_cleanup_errors=True) as folder:
            place = Path(folder) / (name.lstrip(".") or "photograph")
            with place.open("wb") as into:
                (self._from_web if web else self._from_store)(address, into)
            yield place

    def _from_web(self, address: str, into: BinaryIO) -> None:
        try:
            self._web.fetch(address, into, max_bytes=LARGEST, kinds=KINDS)
        except HostFailed as error:
            raise OutputError(f"{error}; run again to go on when it answers") from error

    def _named(self, host: str, port: int, **kind: Any) -> list[tuple[Any, ...]]:
        if (host.lower(), port) not in self.hosts:
            raise AddressError(f"{host}:{port} is no host that was named with --allow-host and is not asked")
        return socket.getaddrinfo(host, port, **kind)

    def _from_store(self, address: str, into: BinaryIO) -> None:
        """One request. What the store says of a photograph is that one's; a store that says nothing ends the run."""
        shown = safe_address(address)
        try:
            from fsspec.core import url_to_fs

            system, key = url_to_fs(address)
            data: bytes = system.cat_file(key, start=0, end=LARGEST + 1)
        except ImportError as error:
            raise OutputError(
                f"{shown} cannot be read, {error.name or 's3fs'} is not installed where photographs are judged; "
                "pip install 'dialtell[s3]' there, and run again to go on"
            ) from error
        except UnicodeError as error:
            raise PhotoError(f"{shown} is no name that a store can hold; check the address") from error
        except FileNotFoundError as error:
            self._failed = 0
            what = f"the bucket {_bucket(shown)}" if _code(error) == "NoSuchBucket" else "it"
            raise PhotoError(f"{shown} cannot be read, {what} does not exist; check the address") from error
        except Exception as error:  # each store raises its own
            if (code := _code(error)) == "InvalidRange":
                return  # of nothing at all
            said = f"{shown} cannot be read ({type(error).__name__}: {safe_address(str(error))})"
            if code in KEYS_REFUSED or code is None:
                raise OutputError(
                    f"{said}; see that the store answers and its keys are right where photographs are judged "
                    "(AWS_ENDPOINT_URL, AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY; FSSPEC_S3_ANON=true where none are "
                    "needed), and run again to go on"
                ) from error
            if not (isinstance(error, PermissionError) and _bucket(address) in self._open):
                self._failed += 1
            if self._failed >= FAILURES:
                raise OutputError(f"{said}, nor the {FAILURES - 1} before; run again to go on when it can") from error
            raise PhotoError(f"{said}; check the address and the rights to it") from error
        self._failed = 0
        self._open.add(_bucket(address))
        if len(data) > LARGEST:
            raise PhotoError(f"{shown} has more than {LARGEST} bytes; scale it down")
        into.write(data)


def _bucket(address: str) -> str:
    return address.partition("://")[2].partition("/")[0]


def _code(error: Exception) -> str | None:
    """What an S3 store called its refusal; None where no answer of the store is behind an error."""
    response = getattr(error.__cause__ or error, "response", None)
    return str(response.get("Error", {}).get("Code", "")) if isinstance(response, dict) else None
