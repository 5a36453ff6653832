"""Charge, charging, voltage and temperature."""

from collections.abc import Iterator
from datetime import timedelta

from fadewatch_common.bench.facts import LaptopFacts, PackFacts
from fadewatch_common.bench.remark import Remark
from fadewatch_common.bench.words import day
from fadewatch_common.report import Pack

TOO_EMPTY_PERCENT = 5.0
"""Charge below which nothing can be tried [percent of a full charge]; own choice."""

LIMIT_SLACK_PERCENT = 10.0
"""How far below its limit a pack may rest without charging [percent].

Own choice: a laptop at its limit charges again only some percent below it.
"""

USUAL_LIMIT_PERCENT = 75.0
"""Charge from which a rest on mains is taken for an unknown limit [percent].

Own choice: limits are usually set to 80 %.
"""

SEEN_CHARGING_DAYS = 30
"""How long ago charging seen by the collector still counts [day]; own choice."""

LOW_VOLTAGE = 0.70
HIGH_VOLTAGE = 1.30
"""Voltage over design voltage that cannot be right [ratio].

Cells are used between about 3.0 and 4.4 V at 3.6 to 3.8 V nominal (from memory), 0.79
to 1.22; own margins.
"""

CHARGING_C = (0.0, 40.0)
"""Temperatures at which a pack may be charged [Celsius]: NFPA, told by the USFA."""

HOT_C = 60.0
"""Temperature at which the check ends [Celsius]; own choice."""


def charge_percent(pack: Pack) -> float | None:
    """Return the charge [percent of a full charge]; None unknown."""
    if pack.remaining_capacity is None or not pack.full_charge_capacity:
        return None
    return min(100.0, 100 * pack.remaining_capacity / pack.full_charge_capacity)


def judge_power(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    """Yield what charge, charging, voltage and temperature say."""
    yield from _charge(facts, pack)
    yield _charging(facts, pack)
    yield from _voltage(pack.read)
    yield from _temperature(pack.read)


def _charge(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    charge = charge_percent(pack.read)
    figures = {"charge_percent": _one_digit(charge)}
    if charge is None:
        yield Remark(
            kind="charge",
            severity="remark",
            sentence="Its charge is not told by the firmware.",
            figures=figures,
        )
    elif facts.is_new_pack and charge <= facts.policy.arrival_charge_percent:
        yield Remark(
            kind="charge",
            severity="note",
            sentence=f"It holds {charge:.0f} % charge; up to "
            f"{facts.policy.arrival_charge_percent} % is normal for a pack that has "
            "been shipped. Charge it before it is issued.",
            figures=figures,
        )
    elif charge < TOO_EMPTY_PERCENT:
        yield Remark(
            kind="charge",
            severity="remark",
            sentence=f"It holds {charge:.0f} % charge, too little to tell more: "
            "charge it and check again.",
            figures=figures,
        )


def _charging(facts: LaptopFacts, pack: PackFacts) -> Remark:
    severity, sentence = _charging_words(facts, pack)
    return Remark(
        kind="charging",
        severity="note" if severity == "note" else "remark",
        sentence=sentence,
        figures={
            "state": pack.read.state,
            "charge_percent": _one_digit(charge_percent(pack.read)),
            "charge_limit_percent": pack.read.charge_limit_percent,
        },
    )


def _charging_words(facts: LaptopFacts, pack: PackFacts) -> tuple[str, str]:
    charge, state = charge_percent(pack.read), pack.read.state
    at = "an unknown charge" if charge is None else f"{charge:.0f} %"
    if state == "charging":
        return "note", f"It charges, at {at}."
    if state == "full":
        return "note", f"It is full, at {at}."
    if facts.reading.mains_online and state == "discharging":
        words = "the charger may be too weak or broken, or the gauge is learning"
        return "remark", f"On mains it still discharges, at {at}: {words}."
    others = (one.read for one in facts.packs if one is not pack)
    if facts.reading.mains_online and any(one.state == "charging" for one in others):
        return "note", f"It waits at {at} while another pack charges."
    if state == "held" or facts.reading.mains_online:
        return _resting_words(pack.read, charge, at)
    return _on_battery_words(facts, pack, at)


def _resting_words(pack: Pack, charge: float | None, at: str) -> tuple[str, str]:
    limit = pack.charge_limit_percent
    has_limit = limit is not None and 0 < limit < 100  # noqa: PLR2004 - percent
    least = USUAL_LIMIT_PERCENT
    if has_limit and limit is not None:
        least = limit - LIMIT_SLACK_PERCENT
    if charge is not None and charge >= least:
        words = f"its limit of {limit} %" if has_limit else "a charge limit, it seems"
        return "note", f"On mains it rests at {at}, at {words}."
    limited = f", below its limit of {limit} %" if has_limit else ""
    words = "try another charger; charger, socket or pack may be broken"
    return "remark", f"On mains it does not charge, at {at}{limited}: {words}."


def _on_battery_words(facts: LaptopFacts, pack: PackFacts, at: str) -> tuple[str, str]:
    charged_on = pack.history.charged_on if pack.history else None
    oldest = facts.today - timedelta(days=SEEN_CHARGING_DAYS)
    if charged_on is not None and charged_on >= oldest and not facts.is_new_pack:
        return (
            "note",
            f"It runs on battery, at {at}; it last charged {day(charged_on)}.",
        )
    where = (
        "It runs on battery" if facts.reading.mains_online is False else "Mains unknown"
    )
    return (
        "remark",
        f"{where}, at {at}, so charging was not seen: plug it in and check again.",
    )


def _voltage(pack: Pack) -> Iterator[Remark]:
    voltage, design = pack.voltage_mv, pack.design_voltage_mv
    if not voltage or not design:
        return
    ratio = voltage / design
    said = (
        f"Its voltage is {voltage / 1000:.2f} V for a design of {design / 1000:.2f} V"
    )
    figures = {"voltage_mv": voltage, "design_voltage_mv": design}
    if ratio < LOW_VOLTAGE:
        yield Remark(
            kind="voltage",
            severity="stops",
            sentence=f"{said}: deeply discharged, or a cell has failed. Do not charge "
            "it; have trained staff look at it.",
            figures=figures,
            look_first=True,
        )
    elif ratio > HIGH_VOLTAGE:
        yield Remark(
            kind="voltage",
            severity="remark",
            sentence=f"{said}, higher than cells are charged to: one of the two "
            "figures is wrong, or the charger is.",
            figures=figures,
        )


def _temperature(pack: Pack) -> Iterator[Remark]:
    celsius = pack.temperature_c
    low, high = CHARGING_C
    if celsius is None or low <= celsius <= high:
        return
    hot = celsius >= HOT_C
    advice = (
        "switch it off, unplug it and keep away"
        if hot
        else "let it come to room temperature before it is charged"
    )
    yield Remark(
        kind="temperature",
        severity="stops" if hot else "remark",
        sentence=f"It is at {celsius:.0f} °C; packs are charged between {low:.0f} and "
        f"{high:.0f} °C: {advice}.",
        figures={"temperature_c": celsius},
        look_first=hot,
    )


def _one_digit(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
