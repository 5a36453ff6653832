"""How often a sign-in may be tried: for one account, and from one address."""

import ipaddress
from collections import OrderedDict
from dataclasses import dataclass

ACCOUNT_BURST = 5
"""Sign-ins in a row for one account [count]. Own choice."""
ACCOUNT_EVERY_S = 60.0
"""Seconds until one more may be tried for an account [s]. Own choice."""

ADDRESS_BURST = 20
"""Sign-ins in a row from one address [count]; people share addresses. Own choice."""
ADDRESS_EVERY_S = 6.0
"""Seconds until one more may be tried from an address [s]. Own choice."""

INSPECT_BURST = 40
"""Visits to inspection links in a row from one address [count]. Own choice."""
INSPECT_EVERY_S = 3.0
"""Seconds until one more may come from an address [s]. Own choice."""

MOST_KEYS = 10_000
"""Accounts or addresses remembered [count]; the longest unused go first."""

IPV6_SITE_BITS = 64
"""Length of the network that one subscriber of IPv6 has for themselves [bit]."""


@dataclass(slots=True)
class _Bucket:
    tokens: float
    at: float


class TokenBuckets:
    """Buckets that refill at a steady pace, one a key; time is passed in [s]."""

    def __init__(self, burst: int, every_s: float, most_keys: int = MOST_KEYS) -> None:
        self._burst = float(burst)
        self._every_s = every_s
        self._most_keys = most_keys
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()

    def take(self, key: str, now: float) -> float:
        """Take a token; return 0.0, or how long to wait for one [s]."""
        bucket = self._refilled(key, now)
        if bucket.tokens < 1:
            return (1 - bucket.tokens) * self._every_s
        bucket.tokens -= 1
        return 0.0

    def give_back(self, key: str, now: float) -> None:
        """Put a token back: what it was taken for should not count."""
        bucket = self._refilled(key, now)
        bucket.tokens = min(self._burst, bucket.tokens + 1)

    def _refilled(self, key: str, now: float) -> _Bucket:
        bucket = self._buckets.setdefault(key, _Bucket(self._burst, now))
        self._buckets.move_to_end(key)
        if len(self._buckets) > self._most_keys:
            self._buckets.popitem(last=False)
        passed = max(0.0, now - bucket.at)
        bucket.tokens = min(self._burst, bucket.tokens + passed / self._every_s)
        bucket.at = max(bucket.at, now)
        return bucket


class SignInLimits:
    """The limits of signing in; a sign-in that succeeds does not count.

    A stranger who tries on purpose uses up what the account and their address may
    try. That must not shut the account's owner out: a browser in which they signed in
    before is known by its cookie and has a limit of its own, which nobody else's tries
    touch. (A new browser has to wait, or takes a link made on the collector's machine.)
    """

    def __init__(self) -> None:
        self._accounts = TokenBuckets(ACCOUNT_BURST, ACCOUNT_EVERY_S)
        self._browsers = TokenBuckets(ACCOUNT_BURST, ACCOUNT_EVERY_S)
        self._own = TokenBuckets(ACCOUNT_BURST, ACCOUNT_EVERY_S)
        self._addresses = TokenBuckets(ADDRESS_BURST, ADDRESS_EVERY_S)

    def take(
        self, account: str, address: str, now: float, browser: str | None = None
    ) -> float:
        """Count a try; return 0.0, or how long to wait before the next [s].

        Parameters
        ----------
        browser
            Names a browser in which this very account signed in before.
        """
        if browser is not None:
            return self._browsers.take(browser, now)
        network = network_of(address)
        wait = self._addresses.take(network, now)
        if wait:
            return wait
        wait = self._accounts.take(account, now)
        if wait:
            self._addresses.give_back(network, now)
        return wait

    def take_address(self, address: str, now: float) -> float:
        """Count a try that names no account, such as one at the provider's."""
        return self._addresses.take(network_of(address), now)

    def take_own(self, operator_id: int, now: float) -> float:
        """Count a try of somebody signed in to show their password once more."""
        return self._own.take(str(operator_id), now)

    def succeeded(
        self, account: str, address: str, now: float, browser: str | None = None
    ) -> None:
        """Take a try back."""
        if browser is not None:
            self._browsers.give_back(browser, now)
            return
        self._accounts.give_back(account, now)
        self._addresses.give_back(network_of(address), now)


def network_of(address: str) -> str:
    """Return what one subscriber cannot change: the address, or its IPv6 network."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv4Address):
        return str(parsed)
    if parsed.ipv4_mapped is not None:
        return str(parsed.ipv4_mapped)
    return str(ipaddress.ip_network((parsed.packed, IPV6_SITE_BITS), strict=False))
