"""Which pack was seen in which slot: what a bench check after a change compares with.

Kept in the agent's state as the plain form of the bench check's ``SlotFigures``, with
the laptop that they were seen in: a disk or an image may move to another one.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from fadewatch_agent.readers.supplies import identity
from fadewatch_common.encoding import to_plain
from fadewatch_common.report import MAX_PACKS, Laptop, Pack

_SLOTS = "seen"
_LAPTOP = "seen_in"

_MOST_SLOTS = 2 * MAX_PACKS
"""Slots remembered at most; a slot that is empty now is one of them."""

Slots = list[dict[str, Any]]


def kept_slots(record: Mapping[str, Any], laptop: Laptop) -> Slots:
    """Return the slots seen in this laptop; what is damaged is left out."""
    kept = record.get(_SLOTS)
    if not isinstance(kept, list) or record.get(_LAPTOP) != _name(laptop):
        return []
    return [one for one in kept if isinstance(one, dict) and _is_whole(one)]


def seen_after(
    record: Mapping[str, Any], laptop: Laptop, packs: Sequence[Pack], today: date
) -> dict[str, Any]:
    """Return what of a record changes once these packs were read."""
    before = {slot["slot"]: slot for slot in kept_slots(record, laptop)}
    here = [_slot(before.pop(pack.slot, None), pack, today) for pack in packs]
    empty = [slot | {"is_empty": True} for slot in before.values()]
    return {_SLOTS: (here + empty)[:_MOST_SLOTS], _LAPTOP: _name(laptop)}


def _name(laptop: Laptop) -> str:
    return f"{laptop.board_uuid or ''}|{laptop.serial or ''}"


def _slot(known: dict[str, Any] | None, pack: Pack, today: date) -> dict[str, Any]:
    now = {
        "slot": pack.slot,
        "id": identity(pack),
        "seen": {"pack": to_plain(pack), "seen_on": today.isoformat()},
    }
    if known is None:
        return now | {"since": today.isoformat()}
    if known["id"] != now["id"]:
        return now | {"since": today.isoformat(), "before": known["seen"]}
    kept = {name: known[name] for name in ("since", "before") if name in known}
    return now | kept


def _is_whole(slot: Mapping[str, Any]) -> bool:
    texts = (slot.get(name) for name in ("slot", "id", "since"))
    return all(isinstance(text, str) for text in texts) and isinstance(
        slot.get("seen"), dict
    )
