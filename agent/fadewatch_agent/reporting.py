"""One run of ``report``: read, queue on disk, deliver what is queued."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any, NamedTuple

from fadewatch_agent.client import LONGEST_WAIT, Client
from fadewatch_agent.clock import (
    RELEASED,
    TOLERANCE_SECONDS,
    Taken,
    Ticks,
    comparison,
    is_in_doubt,
)
from fadewatch_agent.configuration import Settings
from fadewatch_agent.delivery import Delivered, Patience, deliver, patiently
from fadewatch_agent.enrolment import FILE as ENROLMENT_FILE
from fadewatch_agent.enrolment import (
    Enrolment,
    enrol,
    has_another_token,
    kept_enrolment,
)
from fadewatch_agent.errors import (
    DeliveryError,
    InvalidConfiguration,
    NotEnrolled,
    Refused,
    Unreachable,
    UnusableSpool,
)
from fadewatch_agent.keyring import NOTHING, Keyring
from fadewatch_agent.readers.machine import Machine
from fadewatch_agent.reading import Moment, remarks_of, take_reading
from fadewatch_agent.seen import seen_after
from fadewatch_agent.settling import settle_times
from fadewatch_agent.spool import Spool, with_spool
from fadewatch_agent.state import (
    STATE_FILE,
    belongs_to_the_service,
    ensure_folder,
    only_one,
    read_record,
    write_record,
)
from fadewatch_common.encoding import format_moment, to_json
from fadewatch_common.report import Report

SPOOL_FILE = "spool.sqlite"
_OF_THE_SERVICE = (
    "it belongs to the service's own account; to report now, run 'systemctl start "
    "fadewatch-agent.service'"
)
_OTHER_LAPTOP = "taken on another laptop, from which this disk or image came"


class Surroundings(NamedTuple):
    """What a run takes from outside: a laptop, time and chance.

    Attributes
    ----------
    spread
        Longest random wait before a laptop enrols [s], so that a room of laptops
        made from one image does not ask at once.
    """

    machine: Machine
    moment: Moment
    patience: Patience
    spread: float = 0.0


class Result(NamedTuple):
    """How a run ended.

    Attributes
    ----------
    busy
        Another run has the lock; nothing was done.
    delivered
        What was delivered, when nothing stood in the way.
    obstacle
        What stood in the way; the reports wait in the queue.
    waiting
        Reports in the queue at the end.
    """

    busy: bool = False
    delivered: Delivered = Delivered()
    obstacle: InvalidConfiguration | NotEnrolled | DeliveryError | None = None
    waiting: int = 0


def report(settings: Settings, around: Surroundings) -> Result:
    """Read this laptop, queue the report and deliver what is queued.

    Raises
    ------
    InvalidConfiguration
        No collector is set.
    UnusableSpool
        The queue cannot be used.
    """
    if settings.collector is None:
        raise InvalidConfiguration("no collector is set")
    ensure_folder(settings.state)
    if belongs_to_the_service(settings.state):
        raise UnusableSpool(settings.state, _OF_THE_SERVICE)
    with only_one(settings.state) as alone:
        if not alone:
            return Result(busy=True)
        return _Run(settings, settings.collector, around).result()


class _Run:
    """One run that holds the lock."""

    def __init__(
        self, settings: Settings, collector: str, around: Surroundings
    ) -> None:
        self._settings = settings
        self._collector = collector
        self._around = around
        self._file = settings.state / STATE_FILE
        self._before = read_record(self._file)
        last = self._before.get("clock")
        self._clock: dict[str, Any] = last if isinstance(last, dict) else {}

    def result(self) -> Result:
        """Do the run and remember how it went."""
        reading = take_reading(
            self._around.machine,
            self._around.moment,
            _known(self._before),
            self._around.patience.pause,
        )
        path = self._settings.state / SPOOL_FILE
        result = with_spool(
            path,
            self._settings.queue_limit,
            lambda spool: self._with(spool, reading.report),
        )
        seen = seen_after(
            self._before,
            reading.report.laptop,
            reading.report.packs,
            reading.report.measured_at.date(),
        )
        known = {"packs": reading.identities} | seen
        write_record(self._file, self._before | known | self._remembered(result))
        return result

    def _with(self, spool: Spool, reading: Report) -> Result:
        kept = self._own_enrolment(spool, reading)
        _queue(spool, reading, self._around.moment.ticks)
        try:
            delivered = self._deliver(spool, reading, kept)
        except (InvalidConfiguration, NotEnrolled, DeliveryError) as obstacle:
            return Result(obstacle=obstacle, waiting=spool.depth())
        return Result(delivered=delivered, waiting=spool.depth())

    def _own_enrolment(self, spool: Spool, reading: Report) -> Enrolment | None:
        """Return the enrolment of this laptop; drop one that came with its disk."""
        kept = kept_enrolment(self._settings.state)
        if kept is None or kept.is_of(reading.laptop):
            return kept
        spool.set_aside_all(_OTHER_LAPTOP)
        (self._settings.state / ENROLMENT_FILE).unlink()
        return None

    def _deliver(
        self, spool: Spool, reading: Report, kept: Enrolment | None
    ) -> Delivered:
        self._keep_the_promised_wait()
        client = self._client()
        try:
            if kept is None or not self._may_use(kept):
                kept = self._enrolled(client, reading)
            keys = Keyring(client, kept, self._settings.state)
            self._put_times_right(client, keys, spool)
            delivered = deliver(spool, keys.post, self._around.patience)
            keys.renew_if_asked()
        finally:
            if client.ahead is not None:
                self._clock = comparison(self._now(), client.ahead)
        return delivered

    def _client(self) -> Client:
        settings, earliest = self._settings, RELEASED
        last = _moment(self._clock.get("at"))
        if last is not None and not is_in_doubt(Taken(last, None), self._clock):
            earliest = max(earliest, last)
        return Client(self._collector, settings.ca, settings.proxy, not_before=earliest)

    def _enrolled(self, client: Client, reading: Report) -> Enrolment:
        patience = self._around.patience
        if self._around.spread:
            patience.pause(patience.jitter(self._around.spread))
        return patiently(partial(enrol, self._settings, client, reading), patience)

    def _put_times_right(self, client: Client, keys: Keyring, spool: Spool) -> None:
        """Correct what waits by the collector's clock, asked where ours is doubtful."""
        if client.ahead is None and is_in_doubt(self._now(), self._clock):
            patiently(partial(keys.post, NOTHING), self._around.patience)
        ahead = client.ahead or 0.0
        if abs(ahead) <= TOLERANCE_SECONDS:
            ahead = 0.0
        settle_times(spool, self._now(), ahead)

    def _now(self) -> Taken:
        return Taken(self._around.moment.at, self._around.moment.ticks)

    def _may_use(self, kept: Enrolment) -> bool:
        """Say whether a key is for this collector and worth another attempt."""
        if kept.collector != self._collector:
            return False
        # A revoked key stays revoked until a person brings a new token.
        return not (self._before.get("refused") and has_another_token(self._settings))

    def _keep_the_promised_wait(self) -> None:
        """Stay away until the moment that the collector asked for."""
        until = _moment(self._before.get("retry_at"))
        now = self._around.moment.at
        # A wait beyond the longest one comes from a clock that was set back.
        if until is None or not 0 < (until - now).total_seconds() <= 2 * LONGEST_WAIT:
            return
        left = (until - now).total_seconds()
        raise Unreachable(
            f"the collector asked to wait until {until:%Y-%m-%d %H:%M:%S} UTC", left
        )

    def _remembered(self, result: Result) -> dict[str, Any]:
        now = self._around.moment.at
        always = {"clock": self._clock, "ran_at": format_moment(now)}
        if result.obstacle is None:
            return always | {
                "error_kind": None,
                "delivered_at": format_moment(now),
                "delivered": result.delivered.reports,
                "error": None,
                "refused": False,
                "retry_at": None,
            }
        wait = getattr(result.obstacle, "retry_after", None)
        return always | {
            "error": str(result.obstacle),
            "error_kind": type(result.obstacle).__name__,
            "error_at": format_moment(now),
            "refused": isinstance(result.obstacle, Refused),
            "retry_at": format_moment(now + timedelta(seconds=wait)) if wait else None,
        }


def _queue(spool: Spool, reading: Report, ticks: Ticks | None) -> None:
    """Queue the report, which tells of readings lost since the last one."""
    remarks = remarks_of((*spool.untold().sentences(), *reading.remarks))
    whole = replace(reading, remarks=remarks)
    day = whole.measured_at.astimezone(UTC).date().isoformat()
    spool.put(whole.report_id, day, to_json(whole), ticks)


def _known(before: Mapping[str, Any]) -> dict[str, str] | None:
    packs = before.get("packs")
    if not isinstance(packs, dict):
        return None
    return {str(slot): str(identity) for slot, identity in packs.items()}


def _moment(text: object) -> datetime | None:
    try:
        moment = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return moment if moment.tzinfo else None
