"""Put the times of waiting reports right, once the collector's clock is known."""

import json
from datetime import UTC, datetime

from fadewatch_agent.clock import Taken, Ticks, clock_remark, is_wrong, true_time
from fadewatch_agent.spool import Spool, is_sound
from fadewatch_common.encoding import format_moment
from fadewatch_common.report import MAX_REMARKS


def settle_times(spool: Spool, now: Taken, ahead: float) -> int:
    """Correct each waiting report once; return how many were corrected.

    Parameters
    ----------
    ahead
        How far the collector's clock is ahead of this laptop's [s].
    """
    corrected = 0
    for row in spool.unsettled():
        ticks = None if row.boot is None else Ticks(row.boot, row.ticks or 0.0)
        claimed = _claimed(row.body)
        if claimed is None:
            continue
        true = true_time(Taken(claimed, ticks), now, ahead)
        if is_wrong(claimed, true):
            day = true.astimezone(UTC).date().isoformat()
            spool.correct(row.sequence, day, rewritten(row.body, claimed, true))
            corrected += 1
    spool.note_settled()
    return corrected


def rewritten(body: str, claimed: datetime, true: datetime) -> str:
    """Return a report with its time corrected and a remark that says so."""
    report = json.loads(body)
    told = report.get("remarks")
    remarks = told[: MAX_REMARKS - 1] if isinstance(told, list) else []
    report["measured_at"] = format_moment(true)
    report["remarks"] = [*remarks, clock_remark(claimed, true)]
    return json.dumps(report, ensure_ascii=False, separators=(",", ":"))


def _claimed(body: str) -> datetime | None:
    if not is_sound(body):
        return None
    try:
        claimed = datetime.fromisoformat(json.loads(body)["measured_at"])
    except (ValueError, KeyError, TypeError):
        return None
    return claimed if claimed.tzinfo else None
