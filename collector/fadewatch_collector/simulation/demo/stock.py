"""What the demo's technician has entered of pack types; every figure is invented."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DemoStock:
    """Stock, orders, lead time [d] and price [cent] of one pack model.

    Parameters
    ----------
    arrives_in
        Days until what is on order comes [d]; None without a day.
    """

    on_hand: int
    on_order: int
    arrives_in: int | None
    lead_days: int
    cents: int | None
    note: str | None = None


DEMO_STOCK = {
    "BW 3-48": DemoStock(1, 0, None, 21, 6_490),
    "BW 2-38": DemoStock(3, 0, None, 21, 5_250),
    "KS-F57": DemoStock(0, 4, 9, 14, 7_180, "ordered by the desk, four in one box"),
    "KS-H86": DemoStock(2, 2, 30, 28, 9_800),
    "Reed 440": DemoStock(0, 0, None, 35, 5_900, "supplier has long waits"),
    "Reed 505": DemoStock(4, 0, None, 35, 6_350),
    "DM-24": DemoStock(2, 0, None, 10, None, "price to be asked"),
}
"""By pack model; the types left out have nothing entered, as happens."""
