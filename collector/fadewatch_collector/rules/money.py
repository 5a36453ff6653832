"""Money in whole minor units, such as cents, and as people write it."""

import re

from fadewatch_collector.errors import InvalidRequest

_NO_DECIMALS = frozenset(
    [
        "BIF",
        "CLP",
        "DJF",
        "GNF",
        "ISK",
        "JPY",
        "KMF",
        "KRW",
        "PYG",
        "RWF",
        "UGX",
        "VND",
        "VUV",
        "XAF",
        "XOF",
        "XPF",
    ]
)
_THREE_DECIMALS = frozenset(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"])
"""Currencies whose minor unit is not a hundredth (ISO 4217, from memory)."""

_PRICE = re.compile(r"([0-9]{1,9})(?:[.,]([0-9]{1,3}))?", re.ASCII)
GAP = "\N{NARROW NO-BREAK SPACE}"
"""Stands between thousands: no comma or point to mistake."""


def decimals_of(currency: str) -> int:
    """Return how many decimals amounts of a currency have."""
    if currency in _NO_DECIMALS:
        return 0
    return 3 if currency in _THREE_DECIMALS else 2


def minor_units(text: str, currency: str) -> int:
    """Return a price that a person wrote, in minor units.

    Raises
    ------
    InvalidRequest
        It is no price in that currency.
    """
    decimals = decimals_of(currency)
    found = _PRICE.fullmatch(text.strip())
    if found is None or len(found[2] or "") > decimals:
        example = "54.90" if decimals else "5490"
        raise InvalidRequest(
            f"the price is a number of {currency} such as {example}, without signs or "
            "spaces"
        )
    return int(found[1] + (found[2] or "").ljust(decimals, "0"))


def plain_price(minor: int, currency: str) -> str:
    """Write an amount as a plain number, as files and forms have it."""
    decimals = decimals_of(currency)
    whole, part = divmod(minor, 10**decimals)
    return f"{whole}.{part:0{decimals}d}" if decimals else str(whole)


def rounded(minor: float, currency: str) -> str:
    """Write an amount in whole units, for people: thousands stand apart."""
    return f"{minor / 10 ** decimals_of(currency):,.0f}".replace(",", GAP)
