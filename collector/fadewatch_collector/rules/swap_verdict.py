"""Judge a swap: was the right pack fitted, and is it a new one that works."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fadewatch_common.bench.packs import (
    DESIGN_CAPACITY_TOLERANCE,
    DESIGN_VOLTAGE_TOLERANCE,
)
from fadewatch_common.policy import Policy
from fadewatch_common.report import PackState

UNKNOWN = "not told"


@dataclass(frozen=True, slots=True, kw_only=True)
class PackKind:
    """What makes two packs the same type; None is not told."""

    maker: str | None
    model: str | None
    unit: str
    design_capacity: int | None
    design_voltage_mv: int | None

    @property
    def name(self) -> str:
        """Return maker and model for a sentence."""
        words = " ".join(part for part in (self.maker, self.model) if part)
        return words or "pack of unknown model"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """What the new pack's readings so far say, oldest first.

    Attributes
    ----------
    charge_percent
        Charge of full-charge capacity at the first reading [percent]; None unknown.
    wear
        Newest wear [fraction]; None unknown.
    states
        State at each reading.
    charges_percent
        Charge at each reading that tells it [percent].
    on_mains
        A reading was taken with mains present.
    """

    charge_percent: float | None
    wear: float | None
    cycle_count: int | None
    states: Sequence[PackState]
    charges_percent: Sequence[float]
    on_mains: bool

    @property
    def was_seen_charging(self) -> bool:
        """Say whether charging was seen, or its result."""
        charges = self.charges_percent
        rose = any(b > a for a, b in pairwise(charges))
        return rose or any(state in {"charging", "full"} for state in self.states)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What speaks against the new pack, and what is to know about it."""

    wrong: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def is_right(self) -> bool:
        """Say whether nothing speaks against it."""
        return not self.wrong


def judge_swap(
    old: PackKind,
    new: PackKind,
    arrival: Arrival,
    others_like_new: int,
    policy: Policy,
    *,
    was_here_before: bool = False,
) -> Verdict:
    """Judge the pack that took another's place.

    Parameters
    ----------
    old, new
        The pack removed and the pack fitted.
    arrival
        What the new pack's readings say.
    others_like_new
        Other laptops of the same model that carry the new pack's maker and model:
        a second witness for a type that differs from the one removed.
    was_here_before
        The laptop carried that type before the one removed: a third witness, for the
        pack that puts a wrong one right.
    """
    wrong: list[str] = []
    remarks: list[str] = []
    _judge_type(old, new, others_like_new, was_here_before, wrong, remarks)
    _judge_age(arrival, policy, wrong, remarks)
    _judge_charge(arrival, policy, wrong, remarks)
    return Verdict(tuple(wrong), tuple(remarks))


def _judge_type(
    old: PackKind,
    new: PackKind,
    others: int,
    was_here: bool,
    wrong: list[str],
    remarks: list[str],
) -> None:
    # Where the type has a witness, the one removed may have been the wrong one.
    differences = remarks if others or was_here else wrong
    if new.model is None:
        remarks.append("The new pack does not tell its model: read its label.")
    elif (old.maker, old.model) == (new.maker, new.model):
        remarks.append(f"It is a {new.name} like the one removed.")
    elif others:
        remarks.append(
            f"It is a {new.name}, the one removed a {old.name}; {others} other "
            f"laptop{'s' if others > 1 else ''} of this model carry the new type too."
        )
    elif was_here:
        remarks.append(
            f"It is a {new.name}, the one removed a {old.name}; the laptop carried "
            "the new type before."
        )
    elif old.model is not None:
        wrong.append(
            f"It is a {new.name}, the one removed a {old.name}, and no other laptop "
            "of this model carries that type."
        )
    if _differ(old.design_voltage_mv, new.design_voltage_mv, DESIGN_VOLTAGE_TOLERANCE):
        differences.append(
            f"Its design voltage is {(new.design_voltage_mv or 0) / 1000:.2f} V, that "
            f"of the one removed {(old.design_voltage_mv or 0) / 1000:.2f} V."
        )
    if old.unit == new.unit and _differ(
        old.design_capacity, new.design_capacity, DESIGN_CAPACITY_TOLERANCE
    ):
        differences.append(
            f"Its design capacity is {new.design_capacity} {new.unit}, that of the one "
            f"removed {old.design_capacity} {old.unit}."
        )


def _judge_age(
    arrival: Arrival, policy: Policy, wrong: list[str], remarks: list[str]
) -> None:
    if arrival.wear is None:
        remarks.append("Its wear is not known yet.")
    elif arrival.wear > policy.new_pack_wear:
        wrong.append(
            f"It is not new: wear is {100 * arrival.wear:.1f} %, a new pack has at "
            f"most {100 * policy.new_pack_wear:.0f} %."
        )
    else:
        remarks.append(f"Its wear is {max(100 * arrival.wear, 0):.1f} %.")
    cycles = arrival.cycle_count
    if cycles is not None and cycles > policy.new_pack_cycles:
        wrong.append(
            f"It is not new: it has {cycles} cycles, a new pack has at most "
            f"{policy.new_pack_cycles}."
        )


def _judge_charge(
    arrival: Arrival, policy: Policy, wrong: list[str], remarks: list[str]
) -> None:
    charge = arrival.charge_percent
    if arrival.was_seen_charging:
        remarks.append("It charges.")
    elif charge is not None and charge < 1 and arrival.on_mains:
        wrong.append("It is at 0 % and does not charge on mains.")
        return
    else:
        remarks.append("It has not been seen charging yet.")
    if charge is not None and charge <= policy.arrival_charge_percent:
        remarks.append(
            f"It arrived at {charge:.0f} % charge, which is normal for a new pack: "
            "charge it before the laptop is issued."
        )


def _differ(one: int | None, other: int | None, tolerance: float) -> bool:
    if not one or not other:
        return False
    return abs(one - other) > tolerance * max(one, other)
