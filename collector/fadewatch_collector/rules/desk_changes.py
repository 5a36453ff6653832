"""What filing changed on a desk, so that only that is written."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any

from fadewatch_collector.rules.desk import Desk
from fadewatch_collector.rules.records import (
    PACK_FACTS,
    LaptopRecord,
    PackRecord,
    Place,
)
from fadewatch_collector.rules.slots import Stay

ALWAYS_NEW = frozenset({"last_measured_at", "mains_online"})
"""What of a laptop every report may change."""

FOUND_BY = ("hostname", "serial")
"""What of a laptop itself it is searched by."""

PACK_NAMES = ("identity", "unit", "first_seen_at", *PACK_FACTS)
"""What of a pack hardly any report changes."""

_pack_names = attrgetter(*PACK_NAMES)


@dataclass(frozen=True, slots=True)
class DeskBefore:
    """What a desk showed before anything was filed on it."""

    stays: dict[int, Stay]
    packs: dict[int, PackRecord]


def desk_before(desk: Desk) -> DeskBefore:
    """Remember what a desk shows that has just been loaded."""
    return DeskBefore(
        {
            stay.key: stay
            for stays in desk.stays.values()
            for stay in stays
            if stay.key is not None
        },
        {pack.id: replace(pack) for pack in desk.packs.values()},
    )


def changed_stays(desk: Desk, before: DeskBefore) -> Iterator[tuple[Place, Stay]]:
    """Give the stays that are new or other than before."""
    for place in desk.touched_places:
        for stay in desk.stays[place]:
            if stay.key is None or before.stays[stay.key] != stay:
                yield place, stay


def is_only_seen(stay: Stay, before: DeskBefore) -> bool:
    """Say whether a known stay only went on: the same pack, seen again."""
    known = before.stays.get(stay.key) if stay.key is not None else None
    return known is not None and stay == replace(known, last_seen_at=stay.last_seen_at)


def is_renamed(pack: PackRecord, before: DeskBefore) -> bool:
    """Say whether a known pack tells another thing of itself than its figures."""
    return bool(_pack_names(pack) != _pack_names(before.packs[pack.id]))


def laptops_found_anew(desk: Desk, before: DeskBefore) -> set[int]:
    """Return the laptops that may be searched by other words than before."""
    found = {
        laptop.id
        for laptop in desk.laptops.values()
        if any(laptop.says_new(name) for name in FOUND_BY)
    }
    for place in desk.touched_places:
        for stay in desk.stays[place]:
            known = before.stays.get(stay.key) if stay.key is not None else None
            told = (
                desk.packs[stay.pack_id].serial if stay.pack_id in desk.packs else None
            )
            if (
                known is None
                or (known.pack_id, known.until_at) != (stay.pack_id, stay.until_at)
                or _serial(before, stay.pack_id) != told
            ):
                found.add(place[0])
    return found


def _serial(before: DeskBefore, pack_id: int) -> str | None:
    return before.packs[pack_id].serial if pack_id in before.packs else None


def is_changed(laptop: LaptopRecord, values: dict[str, Any]) -> bool:
    """Say whether more of a laptop changed than every report changes."""
    return any(
        value != laptop.known.get(name)
        for name, value in values.items()
        if name not in ALWAYS_NEW
    )
