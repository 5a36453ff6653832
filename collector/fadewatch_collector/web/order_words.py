"""The words and figures of the order list's pages."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from fadewatch_collector.rules.money import rounded
from fadewatch_collector.rules.order_list import HORIZONS, OrderLine, OrderList, Range
from fadewatch_collector.rules.pack_types import PackType

HORIZON_WORDS = ("Now", *(f"{days} days" for days in HORIZONS[1:]))

__all__ = [
    "HORIZON_WORDS",
    "figures_words",
    "money",
    "money_span",
    "ranked",
    "rounded",
    "span",
    "type_address",
    "when_of",
]

ORDER = "/order"
TYPE = ORDER + "/type"


@dataclass(frozen=True, slots=True)
class When:
    """When to order a type: how urgent, in words, and why, perhaps with a day."""

    rank: int
    words: str
    under: str
    day: date | None = None


def when_of(line: OrderLine, today: date) -> When:
    """Say when a type has to be ordered."""
    missing = line.missing_on
    if missing is None:
        return When(3, "nothing to order", "within a year")
    lead_days = line.stock.lead_time_days
    if missing <= today:
        takes = (
            "lead time?" if lead_days is None else f"an order takes {lead_days} days"
        )
        return When(0, "Order now", f"packs are missing now; {takes}")
    if line.order_by is None:
        return When(1, "Lead time?", "a pack may be missing from", missing)
    if line.order_by <= today:
        return When(
            0,
            "Order now",
            f"an order takes {lead_days} days; a pack may be missing from",
            missing,
        )
    return When(2, line.order_by.isoformat(), "a pack may be missing from", missing)


def ranked(found: OrderList) -> list[tuple[OrderLine, When]]:
    """Return the lines with when to order them, the most urgent first."""
    lines = [(line, when_of(line, found.today)) for line in found.lines]
    last = date.max
    return sorted(
        lines,
        key=lambda one: (
            one[1].rank,
            one[0].order_by or one[0].missing_on or last,
            -one[0].fitted,
        ),
    )


def span(one: Range) -> str:
    """Write the ends of a range; empty when they are the same."""
    return "" if one.low == one.high else f"{one.low} to {one.high}"


def money(minor: int, currency: str) -> str:
    """Write an amount in whole units, with its currency."""
    return f"{rounded(minor, currency)}\N{NO-BREAK SPACE}{currency}"


def money_span(one: Range, currency: str) -> str:
    """Write the ends of a range of money; empty when they are the same."""
    if one.low == one.high:
        return ""
    return f"{rounded(one.low, currency)} to {rounded(one.high, currency)}"


def type_address(kind: PackType, path: str = TYPE) -> str:
    """Return the address of a type's page."""
    return f"{path}?{urlencode({'pack_type': kind.key})}"


def figures_words(kind: PackType) -> str:
    """Return capacity, voltage and chemistry as far as they are known."""
    known = (kind.capacity_words, kind.voltage_words, kind.chemistry)
    return ", ".join(part for part in known if part) or "capacity not known"
