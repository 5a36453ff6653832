"""What every system's power reader gives, and when a look at packs can be trusted."""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from fadewatch_common.report import MAX_PACKS, Pack

SETTLE_SECONDS = 1.2
"""Pause between two looks at a pack that is new in its slot [s].

Linux keeps the remaining charge and the rate of an ACPI pack for 1 s, also across a
swap (drivers/acpi/battery.c, cache_time). Other systems do not tell; the same pause
is kept there (own choice).
"""

_LOOKS = 3
SLOT_LENGTH = 64

Identities = Mapping[str, str]
"""By slot, what told a pack apart when it was last reported."""

Pause = Callable[[float], None]
"""Waits for a number of seconds."""


class Look(NamedTuple):
    """The packs at one moment, whether mains feed the laptop, and what is missing."""

    packs: tuple[Pack, ...]
    mains_online: bool | None
    remarks: tuple[str, ...]


def settled(look: Callable[[], Look], known: Identities | None, pause: Pause) -> Look:
    """Look once; while a pack is new in its slot, until two looks agree.

    Parameters
    ----------
    look
        Reads all packs.
    known
        Identities at the last report; None when there was none.
    pause
        Waits for a number of seconds.
    """
    now = look()
    disagreeing: set[str] = set()
    if known is None or all(known.get(p.slot) == identity(p) for p in now.packs):
        return _at_most(now)
    for _ in range(_LOOKS - 1):
        pause(SETTLE_SECONDS)
        before, now = now, look()
        disagreeing = _disagreeing(before.packs, now.packs)
        if not disagreeing:
            return _at_most(now)
    steady = tuple(p for p in now.packs if p.slot not in disagreeing)
    unsteady = (
        f"{slot}: looks {SETTLE_SECONDS} s apart disagree, as while a pack is being "
        "exchanged; not taken"
        for slot in sorted(disagreeing)
    )
    return _at_most(Look(steady, now.mains_online, (*now.remarks, *unsteady)))


def identity(pack: Pack) -> str:
    """Return what tells this pack apart from another one in the same slot."""
    parts = (
        pack.maker,
        pack.model,
        pack.serial,
        pack.made_on,
        pack.unit,
        pack.design_capacity,
    )
    return "|".join("" if part is None else str(part) for part in parts)


def _at_most(look: Look) -> Look:
    kept, beyond = look.packs[:MAX_PACKS], look.packs[MAX_PACKS:]
    too_many = (f"{p.slot}: one pack too many" for p in beyond)
    return Look(kept, look.mains_online, (*look.remarks, *too_many))


def _disagreeing(before: tuple[Pack, ...], after: tuple[Pack, ...]) -> set[str]:
    """Name the slots whose pack or lasting figures changed between two looks."""
    first, second = ({p.slot: _lasting(p) for p in look} for look in (before, after))
    return {slot for slot in first | second if first.get(slot) != second.get(slot)}


def _lasting(pack: Pack) -> tuple[object, ...]:
    return (
        identity(pack),
        pack.full_charge_capacity,
        pack.cycle_count,
    )
