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
DEADLINE_S = 120.0  # of one photograph from the web, each try
_CHUNK = 1 << 20
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
        elif "::" in address or (scheme not in STORES and not (scheme == "file" and rest.startswith("/"))):
            said = f"{safe_address(address)} is no address that is read; give file:///PATH, s3://, http:// or https://"
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
        name = re.sub(r"[^\w.-]", "_", unquote(address.partition("?")[0].rpartition("/")[2]))[-80:]
        with tempfile.TemporaryDirectory(prefix="dialtell-", ignore_cleanup_errors=True) as folder:
            place = Path(folder) / (name.lstrip(".") or "photograph")
            with place.open("wb") as into:
                (self._from_web if address.lower().startswith(WEB) else self._from_store)(address, into)
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
        try:
            from fsspec.core import url_to_fs

            system, key = url_to_fs(address)
        except ImportError as error:
            raise OutputError(
                f"{safe_address(address)} cannot be read, {error.name or 's3fs'} is not installed where photographs "
                "are judged; pip install 'dialtell[cluster]' s3fs there"
            ) from error
        size = 0
        try:
            with system.open(key, "rb") as file:
                while size <= LARGEST and (chunk := file.read(_CHUNK)):
                    size += into.write(chunk)
        except FileNotFoundError as error:
            raise PhotoError(f"{safe_address(address)} does not exist; check the address") from error
        except Exception as error:  # each store raises its own
            self._failed += 1
            said = f"{safe_address(address)} cannot be read ({type(error).__name__}: {safe_address(str(error))})"
            if self._failed >= FAILURES:
                raise OutputError(f"{said}, nor the {FAILURES - 1} before; run again to go on when it can") from error
            raise PhotoError(f"{said}; check the address and the rights to it") from error
        self._failed = 0
        if size > LARGEST:
            raise PhotoError(f"{safe_address(address)} has more than {LARGEST} bytes; scale it down")
