"""What the store tells, as families of OpenMetrics."""

from collections.abc import Iterator
from datetime import datetime

from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from fadewatch_collector.store.queues import Depth
from fadewatch_collector.usecases.store_figures import FleetCounts, WaitingWork


class StoreMeters(Collector):
    """Families of the figures that were last put in; none where there are none."""

    def __init__(self) -> None:
        self.now: datetime | None = None
        self.work: WaitingWork | None = None
        self.fleet: FleetCounts | None = None

    def describe(self) -> Iterator[Metric]:
        """Tell nothing: which families there are depends on the store."""
        return iter(())

    def collect(self) -> Iterator[Metric]:
        """Yield the families."""
        answers = self.work is not None and self.fleet is not None
        yield _gauge(
            "fadewatch_database_answers",
            "1 when the database answers, else 0.",
            answers,
        )
        if self.work is not None and self.now is not None:
            yield from _of_work(self.work, self.now)
        if self.fleet is not None:
            yield from _of_fleet(self.fleet)


def _of_work(work: WaitingWork, now: datetime) -> Iterator[Metric]:
    queues = work.queues
    for name, what, depth in (
        ("filing", "reports", queues.filing),
        ("assessment", "packs", queues.assessment),
        ("assessment_set_aside", "packs", queues.set_aside),
        ("outbox", "messages", Depth(work.outbox.waiting, work.outbox.since)),
    ):
        yield _gauge(
            f"fadewatch_{name}_waiting_{what}",
            f"{what.capitalize()} that wait ({name.replace('_', ' ')}).",
            depth.count,
            what,
        )
        age_s = 0.0 if depth.since is None else (now - depth.since).total_seconds()
        yield _gauge(
            f"fadewatch_{name}_oldest_age_seconds",
            f"How long the first of them waits ({name.replace('_', ' ')}).",
            max(age_s, 0.0),
            "seconds",
        )


def _of_fleet(fleet: FleetCounts) -> Iterator[Metric]:
    alerts = GaugeMetricFamily(
        "fadewatch_alerts", "Alerts that have not ended.", labels=["kind", "urgency"]
    )
    for alert in fleet.alerts:
        alerts.add_metric([alert.kind, alert.urgency], alert.count)
    yield alerts
    rounds = GaugeMetricFamily(
        "fadewatch_round_last_done_timestamp_seconds",
        "When each round of the clock was last done.",
        labels=["round"],
        unit="seconds",
    )
    for name, done_at in fleet.rounds.items():
        rounds.add_metric([name], done_at.timestamp())
    yield rounds
    yield _gauge(
        "fadewatch_outbox_given_up_messages",
        "Messages that were given up and are not forgotten yet.",
        fleet.given_up_messages,
        "messages",
    )
    yield _gauge(
        "fadewatch_store_size_bytes",
        "What the store takes on the disk.",
        fleet.size_bytes,
        "bytes",
    )


def _gauge(name: str, text: str, value: float, unit: str = "") -> Metric:
    return GaugeMetricFamily(name, text, value=value, unit=unit)
