"""The plain words that pages use for kinds, urgencies, states and bands."""

from typing import Any

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import (
    KIND_WORDS,
    URGENCY_WORDS,
    AlertState,
)
from fadewatch_collector.rules.assessment import Concern

__all__ = [
    "BAND_MEANINGS",
    "BAND_WORDS",
    "CONCERN_WORDS",
    "DRIVE_KIND_WORDS",
    "KIND_WORDS",
    "NOTHING_KNOWN",
    "PACK_STATE_WORDS",
    "STATE_WORDS",
    "URGENCY_WORDS",
    "capacity",
    "change_words",
    "joined",
    "memory_size",
    "percent",
    "storage_size",
]

STATE_WORDS: dict[AlertState, str] = {
    "open": "open",
    "acknowledged": "acknowledged",
    "planned": "planned",
    "ended": "ended",
}

BAND_WORDS: dict[Band, str] = {
    "sound": "sound",
    "plan": "plan",
    "replace": "replace",
    "unknown": "unknown",
}

BAND_MEANINGS: dict[Band, str] = {
    "sound": "below the plan threshold",
    "plan": "past the plan threshold",
    "replace": "past the replace threshold",
    "unknown": "no figure to judge by yet",
}

CONCERN_WORDS: dict[Concern, str] = {
    "none": "No concern in the figures",
    "plan": "Plan a new pack",
    "replace": "Replace the pack",
    "inspect": "Inspect the pack",
    "stop-use": "Stop using the pack",
}

PACK_STATE_WORDS = {
    "charging": "charging",
    "discharging": "discharging",
    "full": "full",
    "held": "on mains, not charging",
    "unknown": "state not known",
}

DRIVE_KIND_WORDS = {
    "nvme": "NVMe",
    "ssd": "SSD",
    "hdd": "hard disk",
    "emmc": "eMMC",
    "unknown": "kind not known",
}

NOTHING_KNOWN = "—"
"""Stands where nothing was reported."""

_MIB_A_GIB = 1024
_SIZES = ((10**12, "TB"), (10**9, "GB"), (10**6, "MB"))


def percent(fraction: float | None) -> str:
    """Write a fraction as percent with one decimal."""
    if fraction is None:
        return "unknown"
    return f"{fraction * 100:z.1f} %".replace("-", "\N{MINUS SIGN}")


def memory_size(mib: int | None) -> str:
    """Write a memory size, in binary units as memory is sold."""
    if mib is None:
        return "unknown"
    if mib % _MIB_A_GIB == 0:
        return f"{mib // _MIB_A_GIB} GiB"
    return f"{mib / _MIB_A_GIB:.1f} GiB" if mib > _MIB_A_GIB else f"{mib} MiB"


def storage_size(size_bytes: int | None) -> str:
    """Write a drive's size, in decimal units as drives are sold."""
    if size_bytes is None:
        return "unknown"
    for size, unit in _SIZES:
        if size_bytes >= size:
            return f"{size_bytes / size:.3g} {unit}"
    return f"{size_bytes} bytes"


def capacity(value: float | None, unit: str) -> str:
    """Write a capacity in the pack's own unit."""
    if value is None:
        return "unknown"
    # A narrow no-break space between thousands: no comma or point to mistake.
    grouped = f"{value:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return grouped if unit == "relative" else f"{grouped} {unit}"


def joined(*parts: str | None) -> str:
    """Join the parts that are known; a dash when none is."""
    return " ".join(part for part in parts if part) or NOTHING_KNOWN


def change_words(item: str, before: Any, after: Any) -> str:
    """Say in one line what changed in an inventory."""
    return f"{_CHANGED.get(item, item)}: {_thing(before)} → {_thing(after)}"


_CHANGED = {"memory": "Memory", "drive": "Drive"}


def _thing(value: Any) -> str:
    if value is None:
        return "nothing"
    if not isinstance(value, dict):
        return str(value)
    if "size_bytes" in value:
        size = storage_size(value["size_bytes"])
    elif "size_mib" in value:
        size = memory_size(value["size_mib"]) if value["size_mib"] else "empty"
    else:
        size = None
    place = value.get("locator") or value.get("name")
    what = joined(value.get("maker"), value.get("part") or value.get("model"))
    named = None if what == NOTHING_KNOWN else what
    return joined(place, size, named)


WAY_WORDS = {
    "password": "password",
    "link": "a link that works once",
    "organisation": "your organisation",
}
"""How somebody signed in."""
