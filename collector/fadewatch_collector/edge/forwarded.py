"""Who really asked, when a trusted proxy stands between: X-Forwarded headers."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address

from fadewatch_collector.settings import Network

MOST_HOPS = 32
"""Entries of X-Forwarded-For that are looked at, from the near end. Own choice."""

_HOST = re.compile(r"(?:[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?")
_PORT = re.compile(r"(?P<v4>[0-9.]+):[0-9]{1,5}|\[(?P<v6>[0-9A-Fa-f:.]+)\](?::[0-9]+)?")

Address = IPv4Address | IPv6Address


@dataclass(frozen=True, slots=True)
class Asked:
    """Where a request came from, and by which address of ours.

    Attributes
    ----------
    address
        The client's address as text; empty when it is not known.
    scheme, host
        What the client's own address line says, as far as it can be known.
    by_proxy
        Whether a trusted proxy passed the request on.
    """

    address: str
    scheme: str
    host: str
    by_proxy: bool = False


def asked_by(
    direct: Asked, headers: Mapping[str, Sequence[str]], trusted: Sequence[Network]
) -> Asked:
    """Follow X-Forwarded-For from the near end to the first hop that is not trusted.

    Every hop writes who it heard from at the right end, so whatever stands left of the
    first untrusted hop may be invented, and is not looked at. X-Forwarded-Proto and
    -Host are taken from the entry of the same hop, or the only one there is.

    Parameters
    ----------
    direct
        What the connection itself says.
    headers
        Values of the X-Forwarded headers by their lower-case name, in order.
    trusted
        Networks of the proxies whose headers are believed.
    """
    near = _address(direct.address)
    if near is None or not _is_in(near, trusted):
        return direct
    client, hops = near, 1
    for entry in reversed(_entries(headers, "x-forwarded-for")[-MOST_HOPS:]):
        named = _address(entry)
        if named is None:
            break
        client = named
        if not _is_in(named, trusted):
            break
        hops += 1
    scheme = _of_hop(_entries(headers, "x-forwarded-proto"), hops).lower()
    host = _of_hop(_entries(headers, "x-forwarded-host"), hops)
    return Asked(
        address=str(client),
        scheme=scheme if scheme in {"http", "https"} else direct.scheme,
        host=host if _HOST.fullmatch(host) else direct.host,
        by_proxy=True,
    )


def _entries(headers: Mapping[str, Sequence[str]], name: str) -> list[str]:
    lines = headers.get(name, ())
    return [entry.strip() for line in lines for entry in line.split(",")]


def _of_hop(entries: Sequence[str], hops: int) -> str:
    """Return the entry that the outermost trusted hop wrote."""
    return entries[-min(hops, len(entries))] if entries else ""


def _address(text: str) -> Address | None:
    with_port = _PORT.fullmatch(text)
    if with_port:
        text = with_port["v4"] or with_port["v6"]
    try:
        found = ip_address(text)
    except ValueError:
        return None
    if isinstance(found, IPv4Address):
        return found
    # Without its zone (%eth0), which can be any text and no network has.
    return found.ipv4_mapped or IPv6Address(found.packed)


def _is_in(address: Address, networks: Sequence[Network]) -> bool:
    return any(address in network for network in networks)
