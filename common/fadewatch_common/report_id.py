"""Report ids: UUID version 7, whose order is the order of time."""

import re

from fadewatch_common.errors import FadewatchError

RANDOM_BITS = 74
"""Random bits in a UUIDv7: 12 in rand_a and 62 in rand_b (RFC 9562 section 5.7)."""

_VERSION_7 = 0x7
_VARIANT = 0b10
_FORM = re.compile(
    r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"
)


class InvalidReportId(FadewatchError, ValueError):
    """The text is not a UUID of version 7."""

    def __init__(self, text: str) -> None:
        super().__init__(f"{text[:40]!r} is not a UUID of version 7 (RFC 9562)")


def make_report_id(unix_ms: int, random_bits: int) -> str:
    """Lay out a UUIDv7.

    Parameters
    ----------
    unix_ms
        Milliseconds since 1970-01-01T00:00Z, 48 bits.
    random_bits
        74 random bits.

    References
    ----------
    RFC 9562, *Universally Unique IDentifiers*, section 5.7 (May 2024).
    """
    rand_a = (random_bits >> 62) & 0xFFF
    rand_b = random_bits & ((1 << 62) - 1)
    value = (unix_ms & ((1 << 48) - 1)) << 80
    value |= _VERSION_7 << 76 | rand_a << 64 | _VARIANT << 62 | rand_b
    text = f"{value:032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def check_report_id(text: str) -> str:
    """Return the id in its canonical lower-case form.

    Raises
    ------
    InvalidReportId
        It is no UUIDv7.
    """
    lower = text.lower()
    if not _FORM.fullmatch(lower):
        raise InvalidReportId(text)
    return lower
