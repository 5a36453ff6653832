"""Swaps in words."""

from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.usecases.overview import AlertRow
from fadewatch_collector.usecases.page_views import SwapDetail


@dataclass(frozen=True, slots=True)
class SwapLine:
    """A swap, and the alert on whose page it is decided."""

    swap: SwapDetail
    alert_id: int | None


def swap_lines(
    swaps: Sequence[SwapDetail], alerts: Sequence[AlertRow]
) -> list[SwapLine]:
    """Return swaps with the alerts that ask about them."""
    asking = {
        (alert.pack_id, alert.laptop_id): alert.id
        for alert in reversed(alerts)
        if alert.kind in {"swap-to-confirm", "wrong-pack"} and alert.state != "ended"
    }
    return [
        SwapLine(
            swap,
            asking.get((swap.new_pack_id, swap.laptop_id))
            if swap.state == "to confirm"
            else None,
        )
        for swap in swaps
    ]
