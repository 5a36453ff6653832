"""Memory and drives against the policy, open matters, and what was not read."""

from collections.abc import Iterator

from fadewatch_common.bench.facts import LaptopFacts
from fadewatch_common.bench.remark import Remark, Severity
from fadewatch_common.report import FIRMWARE_RECORD, Memory

USABLE_SHARE = 0.88
"""Memory that the kernel may use of what is fitted, at least [fraction].

Own choice: firmware and graphics take up to 1 GiB of 8. Used where the modules are
hidden and only the kernel's total is known.
"""

SIZE_SHARE = 0.98
"""Size that still counts as the nominal one of a drive [fraction]; own choice."""

GIGABYTE = 10**9
"""As drives are sold [bytes]."""

MIB_PER_GIB = 1024

STOPPING = frozenset({"sudden-drop", "inspect", "swelling-reported", "wrong-pack"})
"""Kinds of alert that stand in the way of an issue, beside all that say stop-use."""

MENTIONED = frozenset(
    {"fast-fade", "swap-to-confirm", "identity-clash", "hardware-changed"}
)
"""Kinds that are told of. The others repeat what the check finds itself."""


def judge_memory(facts: LaptopFacts) -> Iterator[Remark]:
    """Yield what is to say of the memory."""
    memory, least = facts.reading.memory, facts.policy.least_memory_mib
    if memory is None:
        yield _memory("remark", "The memory could not be read.", None)
        return
    told = _gib(memory.total_mib)
    needed = least if memory.slots else USABLE_SHARE * least
    if memory.total_mib < needed:
        yield _memory(
            "stops",
            f"Memory is {told}, below the {_gib(least)} of the policy." + _room(memory),
            memory.total_mib,
        )
    else:
        yield _memory("note", f"Memory is {told}." + _room(memory), memory.total_mib)


def _memory(severity: Severity, sentence: str, total: int | None) -> Remark:
    return Remark(
        kind="memory",
        severity=severity,
        sentence=sentence,
        figures={"memory_total_mib": total},
    )


def _room(memory: Memory) -> str:
    if not memory.slots:
        return " Its slots cannot be seen without root."
    free = sum(1 for slot in memory.slots if not slot.size_mib)
    if free:
        verb = "is" if free == 1 else "are"
        return f" {free} of {len(memory.slots)} slots {verb} empty."
    return " No slot is empty."


def _gib(mib: int) -> str:
    return f"{mib / MIB_PER_GIB:.1f}".removesuffix(".0") + " GiB"


def judge_drives(facts: LaptopFacts) -> Iterator[Remark]:
    """Yield what is to say of the drives."""
    least = facts.policy.least_storage_gb
    drives = facts.reading.drives
    largest = max(drives, key=lambda drive: drive.size_bytes, default=None)
    if largest is None:
        # An unreadable drive looks the same as none.
        yield _drive("remark", "0 built-in drives were found or could be read.", None)
        return
    size = largest.size_bytes / GIGABYTE
    said = f"The largest drive, {largest.name}, has {size:.0f} GB"
    if size < SIZE_SHARE * least:
        yield _drive("stops", f"{said}, below the {least} GB of the policy.", size)
    else:
        yield _drive("note", f"{said}.", size)
    if all(drive.kind == "hdd" for drive in drives):
        yield _drive("remark", f"{said} and is a spinning disk.", size)


def _drive(severity: Severity, sentence: str, size_gb: float | None) -> Remark:
    return Remark(
        kind="drive",
        severity=severity,
        sentence=sentence,
        figures={"largest_drive_gb": None if size_gb is None else round(size_gb, 1)},
    )


def judge_matters(facts: LaptopFacts) -> Iterator[Remark]:
    """Yield the open alerts that matter for an issue."""
    for matter in facts.matters:
        stops = matter.urgency == "stop-use" or matter.kind in STOPPING
        if not stops and matter.kind not in MENTIONED:
            continue
        yield Remark(
            kind="alert",
            severity="stops" if stops else "remark",
            sentence=f"An alert is open ({matter.kind}): {matter.sentence}",
            figures={"alert": matter.kind, "urgency": matter.urgency},
            look_first=stops and matter.kind != "wrong-pack",
        )


def judge_reading(facts: LaptopFacts) -> Iterator[Remark]:
    """Yield how old the reading is, and what it could not read."""
    days = (facts.today - facts.reading.read_on).days
    if days > facts.policy.silent_days:
        yield Remark(
            kind="reading",
            severity="remark",
            sentence=f"It was last read {days} days ago: read it again on the bench.",
            figures={"days_ago": days},
        )
    for remark in facts.reading.remarks:
        stale = FIRMWARE_RECORD in remark
        yield Remark(
            kind="identity" if stale else "reading",
            severity="remark" if stale else "note",
            sentence=f"{remark}. That record is made at the start: a pack fitted since "
            "is not in it."
            if stale
            else f"{remark}.",
        )
