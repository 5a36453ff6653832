"""Deliver what is queued, in batches, with patience and without insisting."""

from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple, TypeVar

from fadewatch_agent.errors import NotACollector, Unacceptable, Unreachable
from fadewatch_agent.readers.files import clean
from fadewatch_agent.spool import Queued, SetAside, Spool, is_sound
from fadewatch_common.report import MAX_REPORTS

FIRST_BACKOFF = 2.0
"""Longest wait before the first new attempt [s]; it doubles with each one."""
LONGEST_BACKOFF = 60.0

BATCH_BYTES = 512 * 1024
"""Most bytes of a batch, an eighth of what a collector takes.

Batches of 4 MiB brought a run that empties a long queue to 37 MiB of memory.
"""

_OPENING, _CLOSING = b'{"reports":[', b"]}"
_PROBLEM_LENGTH = 300

_FAULTS_IN_A_ROW = 3
"""Reports set aside one after the other before the fault is looked for elsewhere."""

Answer = TypeVar("Answer")
Post = Callable[[bytes], dict[str, Any]]
"""Posts a body of reports; gives the answer or raises a DeliveryError."""


class Patience(NamedTuple):
    """How to wait within one run.

    Attributes
    ----------
    seconds
        Longest wait in total [s].
    pause
        Waits for a number of seconds.
    jitter
        Gives a random number between 0 and its argument.
    """

    seconds: float
    pause: Callable[[float], None]
    jitter: Callable[[float], float]


class Delivered(NamedTuple):
    """What one delivery did."""

    reports: int = 0
    rejected: int = 0


def deliver(spool: Spool, post: Post, patience: Patience) -> Delivered:
    """Deliver all that waits.

    A batch that the collector finds at fault is halved until the report at fault
    stands alone and can be set aside: one bad report never blocks the others. When
    one after the other is at fault, the collector is, and the rest stays queued.

    Raises
    ------
    DeliveryError
        The rest stays queued.
    """
    total = Delivered()
    most, faults = MAX_REPORTS, 0
    room = BATCH_BYTES - len(_OPENING + _CLOSING)
    while rows := spool.waiting(most, room):
        if unsound := [row for row in rows if not is_sound(row.body)]:
            spool.settle((), [SetAside(r.report_id, "damaged") for r in unsound])
            continue
        try:
            answer = patiently(partial(post, _body(rows)), patience)
        except Unacceptable as error:
            if len(rows) == 1:
                faults += 1
                if faults > _FAULTS_IN_A_ROW:
                    raise
                spool.settle((), [SetAside(rows[0].report_id, str(error))])
                total = Delivered(total.reports, total.rejected + 1)
            most = max(1, len(rows) // 2)
            continue
        done = _settle(spool, rows, answer)
        total = Delivered(total.reports + done.reports, total.rejected + done.rejected)
        most, faults = min(MAX_REPORTS, most * 2), 0
    return total


def backoff(attempt: int, jitter: Callable[[float], float]) -> float:
    """Return a wait [s] with full jitter: anything up to a limit that doubles."""
    # The exponent is kept small: 2 ** 1024 is no float.
    return jitter(min(LONGEST_BACKOFF, FIRST_BACKOFF * 2 ** min(attempt, 16)))


def patiently(ask: Callable[[], Answer], patience: Patience) -> Answer:
    """Ask until an answer comes, for as long as the patience lasts.

    Raises
    ------
    Unreachable
        The next wait would be too long.
    """
    left = patience.seconds
    attempt = 0
    while True:
        try:
            return ask()
        except Unreachable as error:
            wait = (error.retry_after or 0.0) + backoff(attempt, patience.jitter)
            if wait > left:
                raise
        patience.pause(wait)
        left -= wait
        attempt += 1


def _body(rows: list[Queued]) -> bytes:
    return _OPENING + ",".join(row.body for row in rows).encode() + _CLOSING


def _settle(spool: Spool, rows: list[Queued], answer: dict[str, Any]) -> Delivered:
    """Take the answer's word report by report; what it does not name stays queued."""
    sent = {row.report_id for row in rows}
    results = answer.get("results")
    delivered: set[str] = set()
    rejected: dict[str, str] = {}
    for result in results if isinstance(results, list) else ():
        fields = result if isinstance(result, dict) else {}
        report_id, status = str(fields.get("report_id")), fields.get("status")
        if report_id in sent and status in ("stored", "duplicate"):
            delivered.add(report_id)
        elif report_id in sent and status == "rejected":
            problem = clean(str(fields.get("problem") or ""), _PROBLEM_LENGTH)
            rejected[report_id] = problem or "no reason given"
    spool.settle(delivered, [SetAside(i, p) for i, p in rejected.items()])
    if unnamed := len(sent - delivered - rejected.keys()):
        raise NotACollector(f"the answer says nothing of {unnamed} of the reports sent")
    return Delivered(len(delivered), len(rejected))
