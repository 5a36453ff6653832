"""Memory and drive of a visited laptop: what is in it, and what is worth bringing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fadewatch_collector.rules.clipping import clipped
from fadewatch_collector.rules.sizes import (
    GIGABYTE,
    MIB_PER_GIB,
    drive_words,
    memory_words,
)
from fadewatch_common.policy import Policy

SYSTEM_KEEPS = 0.15
"""Share of memory that a system may keep from its total [fraction].

Own choice: graphics and firmware keep up to about a gibibyte of eight. Without the
firmware's tables only the system's total is known.
"""

MODULES_MIB = tuple(gib * MIB_PER_GIB for gib in (2, 4, 8, 16, 32, 64))
"""Sizes of one module as sold [MiB]."""

LISTED = 4
"""Slots or drives named on a sheet [count]; own choice, so that it stays one page."""

SENTENCE_LENGTH = 56
"""Longest sentence of a part [characters]; own choice, as above."""

DRIVE_WORDS: Mapping[str, str] = {
    "nvme": "NVMe drive",
    "ssd": "SSD",
    "hdd": "hard disk",
    "emmc": "eMMC, soldered",
}

Plain = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartAdvice:
    """What is fitted, and what to do about it.

    Attributes
    ----------
    fitted
        A sentence for each thing that is in the laptop.
    remark
        What the policy says of it; None is nothing to say.
    bring
        What to bring; None is nothing.
    step
        What to do with it while the laptop is open; None is nothing.
    """

    fitted: tuple[str, ...]
    remark: str | None = None
    bring: str | None = None
    step: str | None = None


def memory_advice(memory: Plain | None, policy: Policy) -> PartAdvice:
    """Say what memory is fitted, and which module to bring.

    A module is brought only for an empty slot: what is soldered cannot be changed, and
    which fitted module to take out is for a person to decide.
    """
    if memory is None:
        return PartAdvice(fitted=("Not reported.",))
    slots: Sequence[Plain] = memory.get("slots") or ()
    total = sum(slot["size_mib"] for slot in slots) or memory["total_mib"]
    fitted = (f"{memory_words(total)} in total.", *_slot_sentences(slots))
    least = policy.least_memory_mib
    enough = least if slots else least * (1 - SYSTEM_KEEPS)
    if total >= enough:
        return PartAdvice(fitted=fitted)
    below = f"Below the policy's {memory_words(least)}"
    if not slots:
        return PartAdvice(fitted=fitted, remark=f"{below}; slots are not reported.")
    empty = next(
        (s for s in slots if not s["size_mib"] and not s.get("soldered")), None
    )
    if empty is None:
        return PartAdvice(fitted=fitted, remark=f"{below}; no slot is empty.")
    module = _module(least - total, slots)
    place = clipped(empty["locator"], 24)
    return PartAdvice(
        fitted=fitted,
        remark=f"{below}; slot {place} is empty.",
        bring=f"{module} for the empty slot {place}",
        step=f"Fit {module} in the empty slot {place}.",
    )


def drive_advice(drives: Sequence[Plain] | None, policy: Policy) -> PartAdvice:
    """Say what drives are fitted, and which one to bring."""
    if not drives:
        return PartAdvice(fitted=("Not reported.",))
    fitted = tuple(_drive_sentence(drive) for drive in drives[:LISTED])
    if len(drives) > LISTED:
        fitted += (f"And {len(drives) - LISTED} more.",)
    largest = max(drives, key=lambda drive: int(drive["size_bytes"]))
    least = policy.least_storage_gb
    remarks = []
    if largest["size_bytes"] < least * GIGABYTE:
        remarks.append(f"Below the policy's {drive_words(least * GIGABYTE)}.")
    if all(drive.get("kind") == "hdd" for drive in drives):
        remarks.append("A hard disk: an SSD is quicker and has no moving parts.")
    if not remarks:
        return PartAdvice(fitted=fitted)
    if largest.get("kind") == "emmc":
        remarks.append("It is soldered: nothing to change at a visit.")
        return PartAdvice(fitted=fitted, remark=" ".join(remarks))
    size = max(least * GIGABYTE, largest["size_bytes"])
    kind = "an NVMe drive" if largest.get("kind") == "nvme" else "an SSD"
    what = f"{kind} of {drive_words(size)} or more"
    name = clipped(largest["name"], 24)
    return PartAdvice(
        fitted=fitted,
        remark=" ".join(remarks),
        bring=f"{what} in place of {name}; the manual tells which form fits",
        step=f"Change {name} for {what}, only when its data are kept.",
    )


def _module(missing_mib: int, slots: Sequence[Plain]) -> str:
    """Name the smallest module that is enough, of the kind that is fitted."""
    size = next((s for s in MODULES_MIB if s >= missing_mib), MODULES_MIB[-1])
    like = next((slot for slot in slots if slot["size_mib"]), {})
    speed = like.get("speed_mts")
    words = (
        "one",
        memory_words(size),
        clipped(like.get("kind") or "", 16),
        f"{speed} MT/s" if speed else None,
    )
    return " ".join(word for word in words if word) + " module"


def _slot_sentences(slots: Sequence[Plain]) -> tuple[str, ...]:
    said = tuple(_slot_sentence(slot) for slot in slots[:LISTED])
    more = len(slots) - LISTED
    return (*said, f"And {more} more slots.") if more > 0 else said


def _slot_sentence(slot: Plain) -> str:
    if not slot["size_mib"]:
        return clipped(f"{slot['locator']}: empty", SENTENCE_LENGTH)
    soldered = "soldered" if slot.get("soldered") else None
    words = (memory_words(slot["size_mib"]), slot.get("kind"), soldered)
    said = " ".join(word for word in words if word)
    return clipped(f"{slot['locator']}: {said}", SENTENCE_LENGTH)


def _drive_sentence(drive: Plain) -> str:
    kind = DRIVE_WORDS.get(drive.get("kind") or "", "drive of unknown kind")
    model = drive.get("model")
    size = drive_words(drive["size_bytes"])
    said = f"{drive['name']}: {size} {kind}" + (f", {model}" if model else "")
    return clipped(said, SENTENCE_LENGTH)
