"""Which pack it is, and after a change whether it is a new one of the right type."""

from collections.abc import Iterator
from datetime import timedelta

from fadewatch_common.bench.facts import LaptopFacts, PackFacts, SlotFigures
from fadewatch_common.bench.level import level_of
from fadewatch_common.bench.power import charge_percent
from fadewatch_common.bench.remark import Remark, Severity, rounded
from fadewatch_common.bench.words import capacity, day, named, percent, type_name
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack

DESIGN_CAPACITY_TOLERANCE = 0.05
"""Difference of design capacity between packs of one type [fraction].

Own choice: makers' second sources state the same nominal value or a few percent off.
"""

DESIGN_VOLTAGE_TOLERANCE = 0.06
"""Difference of design voltage between packs of one type [fraction].

Own choice: 3.6, 3.7 and 3.8 V a cell are within it, another number of cells is not.
"""

RECENT_DAYS = 30
"""How long ago a change is still the one that is asked about [day]; own choice."""

MISSED_DAYS = 90
"""How long an emptied slot is told of [day]; own choice."""


def judge_identity(pack: PackFacts) -> Iterator[Remark]:
    """Yield what the pack does not tell of itself."""
    read = pack.read
    missing = [
        word
        for word, told in (
            ("maker", read.maker),
            ("model", read.model),
            ("serial", read.serial),
        )
        if is_placeholder(told)
    ]
    if not missing:
        yield Remark(kind="identity", severity="note", sentence=f"It is {named(read)}.")
        return
    listed = ", ".join(missing[:-1]) + " or " * (len(missing) > 1) + missing[-1]
    yield Remark(
        kind="identity",
        severity="remark",
        sentence=f"It tells no {listed} ({len(missing)} of 3 that name a pack): read "
        "the label and write it down.",
        figures={"missing": ", ".join(missing)},
    )


def judge_gone(facts: LaptopFacts) -> Iterator[Remark]:
    """Yield the slots that held a pack not long ago."""
    oldest = facts.today - timedelta(days=MISSED_DAYS)
    for slot in facts.gone:
        if slot.seen.seen_on >= oldest:
            yield _gone(slot)


def _gone(slot: SlotFigures) -> Remark:
    return Remark(
        kind="no-pack",
        severity="remark",
        sentence=f"It is empty; {named(slot.seen.pack)} was last seen there on "
        f"{day(slot.seen.seen_on)}.",
        slot=slot.slot,
        figures={"last_seen_on": slot.seen.seen_on.isoformat()},
    )


def judge_new_pack(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    """Yield what speaks for and against a pack that should be new."""
    if not facts.is_new_pack:
        return
    yield from _change(facts, pack)
    yield from _age(facts, pack)
    yield from _takes_charge(facts, pack)


def _new(severity: Severity, sentence: str, **figures: float | str | None) -> Remark:
    return Remark(
        kind="new-pack", severity=severity, sentence=sentence, figures=figures
    )


def _change(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    oldest = facts.today - timedelta(days=RECENT_DAYS)
    unchanged = pack.since is not None and (pack.before is None or pack.since < oldest)
    if unchanged and pack.since is not None:
        yield _new(
            "stops",
            f"No change was seen: {named(pack.read)} has been here since "
            f"{day(pack.since)}.",
            here_since=pack.since.isoformat(),
        )
    elif pack.before is None:
        yield _new(
            "remark",
            "Nothing is kept of the pack before it, so its type cannot be compared: "
            "check the part number against the maker's list.",
        )
    else:
        yield from _compared(pack.before.pack, pack.read)


def _compared(old: Pack, new: Pack) -> Iterator[Remark]:
    differences = list(_differences(old, new))
    for difference in differences:
        yield _new("stops", difference)
    same = not is_placeholder(new.model) and old.model == new.model
    if same and old.maker == new.maker and not differences:
        yield _new("note", f"It is {type_name(new)} like the one before, {named(old)}.")
    elif is_placeholder(new.model) or is_placeholder(old.model):
        yield _new(
            "remark", "Its model or that of the one before is not told: compare labels."
        )
    elif not same or old.maker != new.maker:
        electrically = not differences and _knows_both(old, new)
        yield _new(
            "remark" if electrically else "stops",
            f"It is {type_name(new)}, the one before was {type_name(old)}"
            + (
                ", of the same design voltage and capacity: check that the maker "
                "lists it for this laptop."
                if electrically
                else ": not the same type."
            ),
        )


def _differences(old: Pack, new: Pack) -> Iterator[str]:
    voltages = (old.design_voltage_mv, new.design_voltage_mv)
    if _far(*voltages, DESIGN_VOLTAGE_TOLERANCE):
        yield (
            f"Its design voltage is {(voltages[1] or 0) / 1000:.2f} V, that of the one "
            f"before {(voltages[0] or 0) / 1000:.2f} V."
        )
    if old.unit == new.unit and _far(
        old.design_capacity, new.design_capacity, DESIGN_CAPACITY_TOLERANCE
    ):
        yield (
            f"Its design capacity is {capacity(new.design_capacity, new.unit)}, that of "
            f"the one before {capacity(old.design_capacity, old.unit)}."
        )
    if old.chemistry and new.chemistry and old.chemistry != new.chemistry:
        yield f"Its chemistry is {new.chemistry}, that of the one before {old.chemistry}."


def _knows_both(old: Pack, new: Pack) -> bool:
    return bool(
        old.design_voltage_mv
        and new.design_voltage_mv
        and old.design_capacity
        and new.design_capacity
        and old.unit == new.unit
    )


def _far(one: int | None, other: int | None, tolerance: float) -> bool:
    if not one or not other:
        return False
    return abs(one - other) > tolerance * max(one, other)


def _age(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    policy, level, cycles = facts.policy, level_of(pack).wear, pack.read.cycle_count
    if level is not None and level > policy.new_pack_wear:
        yield _new(
            "stops",
            f"It is not new: wear is {percent(level)}, a new pack has at most "
            f"{percent(policy.new_pack_wear)}.",
            wear_percent=rounded(level),
        )
    if cycles is not None and cycles > policy.new_pack_cycles:
        yield _new(
            "stops",
            f"It is not new: it has {cycles} cycles, a new pack has at most "
            f"{policy.new_pack_cycles}.",
            cycle_count=cycles,
        )


def _takes_charge(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    charge = charge_percent(pack.read)
    if (
        charge is not None
        and charge < 1
        and facts.reading.mains_online
        and pack.read.state not in {"charging", "full"}
    ):
        yield _new(
            "stops",
            f"It is at {charge:.0f} % and does not charge on mains.",
            charge_percent=round(charge, 1),
        )
