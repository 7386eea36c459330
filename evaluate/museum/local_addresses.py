"""Which addresses a download may reach: public ones only, whatever a table, a museum or a redirect says.

A host name is looked up once; every address found is judged, and the connection goes to one of exactly those. A
second look-up at connection time could give another answer than the judged one (DNS rebinding).
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Collection
from typing import Any

from dialtell.synth.shared.errors import DialtellError

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Place = tuple[str, int]  # host, port
Resolver = Callable[..., list[tuple[Any, ...]]]

_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: the last 32 bits are an IPv4 address
_COMPATIBLE = ipaddress.ip_network("::/96")  # RFC 4291, 2.5.5.1, deprecated: likewise
_SITE_LOCAL = ipaddress.ip_network("fec0::/10")  # RFC 3879, deprecated, still routed inside some networks


class AddressError(DialtellError):
    """An address is not public, or a host name has none."""


def is_public(address: Address) -> bool:
    """True for an address reached over the open internet; false for private, loopback, link-local, shared, multicast
    and reserved ones (IANA special-purpose registries, as Python's ipaddress has them), and for IPv6 forms that carry
    such an IPv4 address inside."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = _carried(address)
        if inner is not None:
            return is_public(inner)
        if address in _SITE_LOCAL or address.scope_id:
            return False
    return address.is_global and not (address.is_multicast or address.is_reserved or address.is_unspecified)


def _carried(address: ipaddress.IPv6Address) -> ipaddress.IPv4Address | None:
    """The IPv4 address inside a mapped, compatible, NAT64, 6to4 or Teredo address; None for others."""
    if address.ipv4_mapped is not None:
        return address.ipv4_mapped
    if address in _NAT64 or address in _COMPATIBLE:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.sixtofour or (address.teredo[1] if address.teredo else None)


def addresses(
    host: str, port: int, *, allow: Collection[Place] = (), resolve: Resolver = socket.getaddrinfo
) -> list[Place]:
    """(numeric address, port) pairs to connect to, in the resolver's order.

    allow : (host, port) pairs exempt from the judgement, compared as written: allowing ("127.0.0.1", 8000) allows
        neither another port nor the name localhost.
    Raises AddressError when any address of the host is not public, OSError when the look-up itself fails.
    """
    found = resolve(host, port, type=socket.SOCK_STREAM)
    places = list(dict.fromkeys((str(entry[4][0]), int(entry[4][1])) for entry in found))
    if not places:
        raise AddressError(f"{host} has no address; check the URL")
    if (host, port) not in allow:
        for numeric, _ in places:
            if not is_public(ipaddress.ip_address(numeric)):
                where = host if host == numeric else f"{host} ({numeric})"
                raise AddressError(
                    f"{where} is no public address and is not asked; for a server of your own add --allow-host "
                    f"{f'[{host}]' if ':' in host else host}:{port}"
                )
    return places
