"""Figures of a bench check as its sentences write them."""

from datetime import date

from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def percent(fraction: float) -> str:
    """Write a fraction as a percentage, whole where it is."""
    # z: a wear of -0.0004 is 0, not -0.
    return f"{100 * fraction:z.1f}".removesuffix(".0") + " %"


def monthly(rate: float) -> str:
    """Write a rate of fade [fraction a month]."""
    return f"{100 * rate:.2f} % a month"


def day(when: date) -> str:
    """Write a day as 9 April 2026."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def month(when: date) -> str:
    """Write a month as April 2026."""
    return f"{MONTHS[when.month - 1]} {when.year}"


def years(number: float) -> str:
    """Write a number of years."""
    shown = f"{number:.1f}".removesuffix(".0")
    return f"{shown} {'year' if shown == '1' else 'years'}"


def capacity(value: int | None, unit: str) -> str:
    """Write a capacity in the pack's own unit."""
    if value is None:
        return "an unknown capacity"
    return f"{value} {unit}" if unit != "relative" else f"{value} (no unit)"


def type_name(pack: Pack) -> str:
    """Write maker and model of a pack, without placeholders."""
    told = (part for part in (pack.maker, pack.model) if not is_placeholder(part))
    return " ".join(part for part in told if part) or "pack of unknown type"


def named(pack: Pack) -> str:
    """Write which pack it is: maker, model and serial."""
    serial = "" if is_placeholder(pack.serial) else f", serial {pack.serial}"
    return type_name(pack) + serial
