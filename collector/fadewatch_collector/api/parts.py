"""Parts of lists that are ordered by number."""

from collections.abc import Sequence
from typing import Protocol, TypeVar

from fadewatch_collector.rules.paging import number_cursor, number_key


class Numbered(Protocol):
    """Anything with a number."""

    @property
    def id(self) -> int:
        """Its number."""
        ...


Row = TypeVar("Row", bound=Numbered)


def goes_on_at(what: str, cursor: str | None) -> int | None:
    """Return the number after which a list goes on; None is from its beginning."""
    return None if cursor is None else number_key(what, cursor)


def part_of(
    what: str, found: Sequence[Row], limit: int
) -> tuple[Sequence[Row], str | None]:
    """Return the rows of one answer, and the cursor of the next.

    Parameters
    ----------
    found
        One row more than the limit, where there is one.
    """
    more = len(found) > limit
    return found[:limit], number_cursor(what, found[limit - 1].id) if more else None
