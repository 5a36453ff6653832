"""Messages for the tests of what goes out."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fadewatch_collector.rules.messages import Message, ToldAlert

PAGES = "https://packs.example.org"
WRITTEN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

ALERT = ToldAlert(
    id=17,
    kind="wear-replace",
    urgency="act",
    state="open",
    reopened=0,
    site="North",
    opened_at="2026-03-02T09:00:00+00:00",
    reasons=("Wear is 43.5 % on 2026-03-02; the replace threshold is 40 %.",),
    next_step="Replace the pack, and look for physical signs of swelling first.",
    figures={
        "as_of": "2026-03-02",
        "wear_percent": 43.51,
        "readings": 12,
        "fade": None,
    },
    laptop_id=3,
    asset_tag="A-1042",
    hostname="tern-014",
    laptop_maker="Brightmoor",
    laptop_model="Tern 14",
    laptop_serial="BM-00314",
    pack_maker="Callow Cells",
    pack_model="CC-57",
    pack_serial="00417",
)
STOP_USE = replace(ALERT, kind="swelling-reported", urgency="stop-use", holder="Mira")


def message(*alerts: ToldAlert, **changes: Any) -> Message:
    """Make a message about alerts, the kind of its first one."""
    fields: dict[str, Any] = {
        "name": "alert-17.0.act.20260302T090000Z.route-1",
        "what": alerts[0].urgency,
        "route": "the desk",
        "written_at": WRITTEN,
        "alerts": alerts,
    }
    return Message(**(fields | changes))
