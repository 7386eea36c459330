"""The examination served to this machine only, until Ctrl-C; beside it, where asked for, the phone's door."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path

from dialtell.evaluate.examine.app import examination
from dialtell.evaluate.examine.desk import Desk
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.phone import Phone, PhoneDoors
from dialtell.evaluate.examine.receiving import Receiving
from dialtell.evaluate.serving.doors import HOST
from dialtell.evaluate.serving.server import config, listening, run
from dialtell.synth.shared.errors import OutputError

_MOST_OF_PHONES = 16  # connections at once
_ELSEWHERE = "192.0.2.1"  # an address of no machine (RFC 5737): asking the way there sends nothing


def serve(
    folder: Path, *, port: int, workers: int, weights: Path | None, max_pixels: int, network: bool,
    ready: Callable[[str], None],
) -> None:  # fmt: skip
    """Serve until Ctrl-C. port : 0 for any free one. network : let phones add photographs, at this machine's address
    on its local network. ready : told the page's address, token included.

    Raises OutputError where folder or port cannot be used, there is no local network, or another examination has the
    folder.
    """
    files = KeptFiles(folder)
    files.prepare()
    with contextlib.ExitStack() as held:
        held.enter_context(files.held())
        listener = held.enter_context(listening(HOST, port))
        desk = Desk(files, workers=workers, weights=weights, max_pixels=max_pixels)
        receiving, phone, beside = Receiving(desk), None, None
        if network:
            address = own_address()
            outside = held.enter_context(listening(address, 0))
            phone = Phone(f"{address}:{outside.getsockname()[1]}")
            beside = config(PhoneDoors(phone, receiving), _MOST_OF_PHONES), outside
        app = examination(desk, port=listener.getsockname()[1], receiving=receiving, phone=phone)
        run(app, listener, ready, beside)


def own_address() -> str:
    """This machine's address on its local network. Raises OutputError where it has none, or one that the whole
    internet may reach."""
    remedy = "connect this machine to a network of your own, or leave --on-my-network out"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect((_ELSEWHERE, 9))
            address = str(way.getsockname()[0])
        except OSError as error:
            raise OutputError(f"this machine is on no network ({error.strerror}); {remedy}") from error
    found = ipaddress.ip_address(address)
    if found.is_loopback or found.is_unspecified or not found.is_private:
        raise OutputError(f"this machine's address {address} is not one of a local network; {remedy}")
    return address
