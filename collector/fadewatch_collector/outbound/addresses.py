"""Where webhooks may go.

A route is made by an administrator, and receivers usually stand inside the
organisation: private addresses are allowed, and so is every public one. What is not:
anything but https (loopback excepted, where a receiver on the collector's own machine
needs no certificate), link-local addresses (cloud machines hand out their credentials
there), multicast, unspecified and reserved ones, a name that resolves to one of these
or to the collector's own machine, credentials in the address, and redirects. Nothing
of an answer but its status is read, so no page behind the collector can be read out
through it.
"""

import ipaddress
import socket
from urllib.parse import urlsplit

from aiohttp.abc import AbstractResolver, ResolveResult
from aiohttp.resolver import ThreadedResolver

from fadewatch_collector.errors import InvalidRequest

_LOOPBACK_NAME = "localhost"
_LONGEST = 2000

_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
"""Where an IPv6 network shows IPv4 addresses: RFC 6052 section 2.1."""


class NotAllowedAddress(OSError):
    """A name resolves to an address to which nothing is sent."""

    def __init__(self) -> None:
        super().__init__("the name resolves to an address that is not allowed")


def check_webhook(url: str) -> None:
    """Check the address of a webhook.

    Raises
    ------
    InvalidRequest
        It is no address, or one to which nothing is sent; the message says why.
    """
    if len(url) > _LONGEST or not url.isascii() or not url.isprintable() or " " in url:
        raise InvalidRequest("the address of a webhook is one line of ASCII")
    try:
        parts = urlsplit(url)
        host, _port = parts.hostname, parts.port
    except ValueError as problem:
        raise InvalidRequest(f"this is no address: {problem}") from problem
    if not host or parts.scheme not in {"https", "http"}:
        raise InvalidRequest("the address of a webhook begins with https://")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise InvalidRequest(
            "a webhook's address carries no user, password or fragment; the receiver "
            "knows us by the signature"
        )
    if parts.scheme == "http" and not is_loopback(host):
        raise InvalidRequest("plain http is for the loopback address only: use https")
    if is_forbidden(host):
        raise InvalidRequest("nothing is sent to link-local, multicast or reserved")


def is_loopback(host: str) -> bool:
    """Say whether a host is the machine itself, named as such."""
    address = _literal(host)
    return address.is_loopback if address else host.lower() == _LOOPBACK_NAME


def is_forbidden(host: str) -> bool:
    """Say whether nothing may be sent to an address; names are judged when resolved."""
    address = _literal(host)
    return address is not None and (
        address.is_link_local
        or address.is_multicast
        or address.is_unspecified
        or (address.is_reserved and not address.is_loopback)
    )


def _literal(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in _NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address


class GuardedResolver(AbstractResolver):
    """Resolves names, and refuses those that lead where nothing is sent.

    The check is made on the very addresses that are connected to: a name cannot show
    one address when the route is made and another one later.
    """

    def __init__(self, inner: AbstractResolver | None = None) -> None:
        self._inner = inner or ThreadedResolver()

    async def resolve(
        self,
        host: str,
        port: int = 0,
        family: socket.AddressFamily = socket.AF_INET,
    ) -> list[ResolveResult]:
        """Return the addresses of a host."""
        found = await self._inner.resolve(host, port, family)
        for one in found:
            address = one["host"]
            home = is_loopback(address) and host.lower() != _LOOPBACK_NAME
            if home or is_forbidden(address):
                raise NotAllowedAddress
        return found

    async def close(self) -> None:
        """Let go of what the inner resolver holds."""
        await self._inner.close()
