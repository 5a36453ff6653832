"""One pack's reading at one moment of the demo."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from fadewatch_collector.simulation.demo.stories import PackStory, SerialKind
from fadewatch_collector.simulation.packtypes import PACK_TYPES, PackType
from fadewatch_common.report import Pack

# Air-transport packing instruction 965 lets packs travel at 30 % of capacity or less.
ARRIVAL_CHARGE = 0.28
CHARGE_LIMIT = 80  # [percent] of a laptop kept on mains
FULL, ON_MAINS = 0.3, 0.9  # share of readings that find it full, by its story
EMPTY_VOLTAGE, VOLTAGE_SPAN = 0.92, 0.16  # of design voltage, from empty to full

_BY_MODEL = {one.model: one for one in PACK_TYPES}

State = Literal["charging", "discharging", "full", "held"]


@dataclass(frozen=True, slots=True)
class PackFacts:
    """What a pack says of itself in every reading."""

    type: PackType
    serial: str | None
    made_on: date | None
    story: PackStory


@dataclass(frozen=True, slots=True)
class Moment:
    """How a pack is found at one moment; charge as a fraction of full."""

    charge: float
    state: State
    temperature_c: float


def facts_of(rng: np.random.Generator, story: PackStory, first_seen: date) -> PackFacts:
    """Give a pack the facts that it reports about itself."""
    number = int(rng.integers(1, 65_000))
    serials: dict[SerialKind, str | None] = {
        "firm": f"{number:05d}",
        "zero": "0",
        "missing": None,
    }
    # A pack of some wear has been in use for a while before it is first seen.
    age = 30 if story.new else 120 + int(story.wear[0] * 4000)
    age += int(rng.integers(0, 60))
    made_on = date.fromordinal(first_seen.toordinal() - age)
    firm = story.serial == "firm" and not story.percent_only
    return PackFacts(
        type=_BY_MODEL[story.model],
        serial=serials[story.serial],
        made_on=made_on if firm else None,
        story=story,
    )


def reading(
    facts: PackFacts, slot: str, shown: float, cycles: int, moment: Moment
) -> Pack:
    """Give the reading of a pack.

    Parameters
    ----------
    shown
        Full-charge capacity that its gauge reports [fraction of design].
    """
    if facts.story.percent_only:
        return _percent_only(facts, slot, moment)
    kind = facts.type
    full = round(shown * kind.design / kind.quantum) * kind.quantum
    remaining = round(moment.charge * full / kind.quantum) * kind.quantum
    voltage = kind.voltage * (EMPTY_VOLTAGE + VOLTAGE_SPAN * moment.charge)
    return Pack(
        slot=slot,
        maker=kind.maker,
        model=kind.model,
        serial=facts.serial,
        made_on=facts.made_on,
        chemistry="Li-ion",
        unit=kind.unit,
        state=moment.state,
        design_capacity=kind.design,
        full_charge_capacity=full,
        remaining_capacity=remaining,
        cycle_count=cycles or None,
        voltage_mv=round(voltage),
        design_voltage_mv=kind.voltage,
        temperature_c=moment.temperature_c,
        charge_limit_percent=_limit(facts.story),
    )


def _limit(story: PackStory) -> int | None:
    return CHARGE_LIMIT if story.habit == "mains" else story.limit


def _percent_only(facts: PackFacts, slot: str, moment: Moment) -> Pack:
    # Such a gauge tells little: not its maker either.
    return Pack(
        slot=slot,
        model=facts.type.model,
        serial=facts.serial,
        unit="relative",
        state=moment.state,
        full_charge_capacity=100,
        remaining_capacity=round(100 * moment.charge),
    )


def draw_moment(
    rng: np.random.Generator, story: PackStory, *, just_fitted: bool
) -> Moment:
    """Draw how a pack is found."""
    chance, level, warmth = rng.random(3).tolist()
    temperature = round(23.0 + 12.0 * warmth + story.warmer, 1)
    if just_fitted:
        return Moment(ARRIVAL_CHARGE, "discharging", temperature)
    if story.habit == "mains":
        return Moment(CHARGE_LIMIT / 100, "held", temperature)
    if chance < (ON_MAINS if story.on_mains else FULL):
        return Moment(1.0, "full", temperature)
    state: State = "charging" if chance < 0.5 else "discharging"  # noqa: PLR2004
    return Moment(0.2 + 0.75 * level, state, temperature)
