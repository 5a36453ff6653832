"""Where a page of a long list goes on: the key of its last row, as a short text."""

import base64
import binascii
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fadewatch_collector.errors import InvalidRequest

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_LAST_MOMENT_US = (datetime.max.replace(tzinfo=UTC) - _EPOCH) // _MICROSECOND
_LARGEST_ID = 2**63 - 1
_ALERT_KEY = re.compile(r"a\.([0-9]{1,3})\.([0-9]{1,18})\.([0-9]{1,19})", re.ASCII)
_RANKED_KEY = re.compile(r"k\.([0-9]{1,9})\.([0-9]{1,19})", re.ASCII)
_DUE_KEY = re.compile(r"d\.([0-3])\.([0-9]{1,19})", re.ASCII)
_LAPTOP_KEY = re.compile(r"l\.([0-9]{1,19})", re.ASCII)


@dataclass(frozen=True, slots=True)
class AlertKey:
    """Place of an alert in the alert list: most urgent first, then oldest."""

    urgency_rank: int
    opened_at: datetime
    id: int


@dataclass(frozen=True, slots=True)
class DueKey:
    """Place of a laptop in the list of visits: by tier, then site and number."""

    tier: int
    id: int


def alert_cursor(key: AlertKey) -> str:
    """Return the text that stands for a place in the alert list."""
    opened_us = (key.opened_at - _EPOCH) // _MICROSECOND
    return _packed(f"a.{key.urgency_rank}.{opened_us}.{key.id}")


def alert_key(cursor: str) -> AlertKey:
    """Return the place in the alert list that a text stands for.

    Raises
    ------
    InvalidRequest
        The text was not made by :func:`alert_cursor`.
    """
    rank, opened_us, number = _numbers(_ALERT_KEY, cursor)
    if opened_us > _LAST_MOMENT_US or number > _LARGEST_ID:
        raise _refusal()
    return AlertKey(rank, _EPOCH + opened_us * _MICROSECOND, number)


def laptop_cursor(laptop_id: int) -> str:
    """Return the text that stands for a place in the laptop list."""
    return _packed(f"l.{laptop_id}")


def laptop_key(cursor: str) -> int:
    """Return the laptop number after which the list goes on.

    Raises
    ------
    InvalidRequest
        The text was not made by :func:`laptop_cursor`.
    """
    (number,) = _numbers(_LAPTOP_KEY, cursor)
    if number > _LARGEST_ID:
        raise _refusal()
    return number


@dataclass(frozen=True, slots=True)
class RankedKey:
    """Place in a list with the greatest rank first, then the greatest number."""

    rank: int
    id: int


def ranked_cursor(key: RankedKey) -> str:
    """Return the text that stands for a place in a ranked list."""
    return _packed(f"k.{key.rank}.{key.id}")


def ranked_key(cursor: str) -> RankedKey:
    """Return the place in a ranked list that a text stands for.

    Raises
    ------
    InvalidRequest
        The text was not made by :func:`ranked_cursor`.
    """
    rank, number = _numbers(_RANKED_KEY, cursor)
    if number > _LARGEST_ID:
        raise _refusal()
    return RankedKey(rank, number)


def due_cursor(key: DueKey) -> str:
    """Return the text that stands for a place in the list of visits."""
    return _packed(f"d.{key.tier}.{key.id}")


def due_key(cursor: str) -> DueKey:
    """Return the place in the list of visits that a text stands for.

    Raises
    ------
    InvalidRequest
        The text was not made by :func:`due_cursor`.
    """
    tier, number = _numbers(_DUE_KEY, cursor)
    if number > _LARGEST_ID:
        raise _refusal()
    return DueKey(tier, number)


def number_cursor(what: str, number: int) -> str:
    """Return the text that stands for a place in a list ordered by number.

    Parameters
    ----------
    what
        The list, in lower-case letters.
    """
    return _packed(f"{what}.{number}")


def number_key(what: str, cursor: str) -> int:
    """Return the number after which a list goes on.

    Raises
    ------
    InvalidRequest
        The text was not made by :func:`number_cursor` for this list.
    """
    (number,) = _numbers(re.compile(rf"{what}\.([0-9]{{1,19}})", re.ASCII), cursor)
    if number > _LARGEST_ID:
        raise _refusal()
    return number


def _packed(plain: str) -> str:
    return base64.urlsafe_b64encode(plain.encode()).rstrip(b"=").decode()


def _numbers(shape: re.Pattern[str], cursor: str) -> list[int]:
    try:
        padded = cursor.encode("ascii") + b"=" * (-len(cursor) % 4)
        plain = base64.b64decode(padded, altchars=b"-_", validate=True).decode("ascii")
    except (UnicodeError, binascii.Error) as error:
        raise _refusal() from error
    found = shape.fullmatch(plain)
    if found is None:
        raise _refusal()
    return [int(number) for number in found.groups()]


def _refusal() -> InvalidRequest:
    return InvalidRequest("the place to go on from is not one that a page has given")
