"""Which pack sat in a slot from when to when, as readings come in any order."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Stay:
    """A pack's time in one slot.

    Attributes
    ----------
    key
        The store's row number, or None for a stay that is not stored yet.
    until_at
        When it was gone, or None while it is still there.
    """

    pack_id: int
    from_at: datetime
    last_seen_at: datetime
    until_at: datetime | None = None
    key: int | None = None

    def covers(self, at: datetime) -> bool:
        """Say whether the pack was there at the moment."""
        return self.from_at <= at and (self.until_at is None or at <= self.until_at)


def see_pack(stays: Sequence[Stay], pack_id: int, at: datetime) -> list[Stay]:
    """Return the slot's stays after a pack was seen in it.

    Parameters
    ----------
    stays
        The slot's stays in time order; at most the last one is open.
    pack_id
        The pack that was seen.
    at
        When; a late report may lie before what is known already.
    """
    result = list(stays)
    for index, stay in enumerate(result):
        if stay.pack_id == pack_id and stay.covers(at):
            result[index] = replace(stay, last_seen_at=max(stay.last_seen_at, at))
            return result
    newest = result[-1] if result else None
    if newest is None or at >= newest.last_seen_at:
        return _put_at_end(result, pack_id, at)
    return _put_between(result, pack_id, at)


def see_empty(stays: Sequence[Stay], at: datetime) -> list[Stay]:
    """Return the slot's stays after the slot was seen empty."""
    result = list(stays)
    if result and result[-1].until_at is None and at > result[-1].last_seen_at:
        result[-1] = replace(result[-1], until_at=at)
    return result


def stay_at(stays: Sequence[Stay], at: datetime) -> Stay | None:
    """Return the stay that a late reading belongs to: the last begun before it.

    The first one when the reading is older than all of them.
    """
    begun = [stay for stay in stays if stay.from_at <= at]
    if begun:
        return begun[-1]
    return stays[0] if stays else None


def stay_after(stays: Sequence[Stay], at: datetime) -> Stay | None:
    """Return the first stay that begins after a moment."""
    return next((stay for stay in stays if stay.from_at > at), None)


def cut_last(
    stays: Sequence[Stay], pack_id: int, last_seen_at: datetime, since: datetime
) -> list[Stay]:
    """Return the slot's stays when its last one was another pack's from a moment on.

    Parameters
    ----------
    pack_id
        The pack that was there in truth.
    last_seen_at, since
        When the old pack was last seen, and the new one first.
    """
    *earlier, last = stays
    if since <= last.from_at:
        return [*earlier, replace(last, pack_id=pack_id)]
    old = replace(last, last_seen_at=last_seen_at, until_at=since)
    return [*earlier, old, Stay(pack_id, since, last.last_seen_at, last.until_at)]


def _put_at_end(stays: list[Stay], pack_id: int, at: datetime) -> list[Stay]:
    if stays and stays[-1].until_at is None:
        stays[-1] = replace(stays[-1], until_at=at)
    stays.append(Stay(pack_id, at, at))
    return stays


def _put_between(stays: list[Stay], pack_id: int, at: datetime) -> list[Stay]:
    after = next(
        i for i, stay in enumerate(stays) if stay.from_at > at or _spans(stay, at)
    )
    if stays[after].pack_id == pack_id:
        stays[after] = replace(stays[after], from_at=at)
        return stays
    free = stays[after].from_at > at
    if free and after and stays[after - 1].pack_id == pack_id:
        before = stays[after - 1]
        seen = max(before.last_seen_at, at)
        until = before.until_at and max(before.until_at, at)
        stays[after - 1] = replace(before, last_seen_at=seen, until_at=until)
        return stays
    following = stays[after + 1 : after + 2]
    if following and following[0].pack_id == pack_id and stays[after].last_seen_at < at:
        # It came sooner than was known: the border between the two moves.
        stays[after] = replace(stays[after], until_at=at)
        stays[after + 1] = replace(following[0], from_at=at)
        return stays
    stays[after : after + 1] = _cut(stays[after], at)
    stays.append(Stay(pack_id, at, at, at))
    return sorted(stays, key=_order)


def _cut(stay: Stay, at: datetime) -> list[Stay]:
    """Make room in a stay for another pack's sight."""
    if at <= stay.from_at:
        return [stay]
    if at > stay.last_seen_at or at == stay.until_at:
        return [replace(stay, until_at=at)]
    # Out and in again between two sights: the stay was two.
    first = replace(stay, last_seen_at=at, until_at=at)
    return [first, replace(stay, from_at=at, key=None)]


def _spans(stay: Stay, at: datetime) -> bool:
    return stay.from_at <= at <= (stay.until_at or stay.last_seen_at)


def _order(stay: Stay) -> tuple[datetime, bool, datetime]:
    return stay.from_at, stay.until_at is None, stay.last_seen_at
