"""What the collector counts of itself, for OpenMetrics.

A registry for each application and none of the library's own, so that several can live
in one process. Labels have few values that are known before: never a serial, a name, an
id or anything a caller can choose.
"""

from collections.abc import Callable

from aiohttp import web
from prometheus_client import (
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    Info,
    ProcessCollector,
)

QUICK_S = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 5)
"""Bounds for what should take milliseconds [s]. Own choice."""
REQUEST_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10, 60)
"""Bounds for requests; exports take longest [s]. Own choice."""
GROUP_SIZES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
"""Bounds for reports in one commit [count]. Own choice."""

OUTCOMES = ("stored", "duplicate", "rejected")
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH"})
NO_ROUTE = "none"
"""The route of a request that no page or address of the API is there for."""

_Route = tuple[Counter, Histogram]


class Meters:
    """Counters and histograms of one application."""

    def __init__(self, version: str, python: str) -> None:
        registry = self.registry = CollectorRegistry()
        Info("fadewatch_build", "What runs here.", registry=registry).info(
            {"version": version, "python": python}
        )
        ProcessCollector(registry=registry)
        self._reports = Counter(
            "fadewatch_reports",
            "Reports answered, by what became of them.",
            ["outcome"],
            registry=registry,
        )
        for outcome in OUTCOMES:
            self._reports.labels(outcome)
        self._commit_s = Histogram(
            "fadewatch_commit_seconds",
            "Time of a transaction that stores reports.",
            unit="seconds",
            buckets=QUICK_S,
            registry=registry,
        )
        self._commit_reports = Histogram(
            "fadewatch_commit_reports",
            "Reports that one transaction stores.",
            unit="reports",
            buckets=GROUP_SIZES,
            registry=registry,
        )
        self._routes: dict[tuple[str, str, int], _Route] = {}
        self._requests = Counter(
            "fadewatch_http_requests",
            "Requests answered, by route and class of the status.",
            ["method", "route", "status"],
            registry=registry,
        )
        self._request_s = Histogram(
            "fadewatch_http_request_seconds",
            "Time from a request's arrival to the end of its answer.",
            ["method", "route"],
            unit="seconds",
            buckets=REQUEST_S,
            registry=registry,
        )
        self._wait_s = Histogram(
            "fadewatch_database_wait_seconds",
            "Time until a connection to the database could be used.",
            ["access"],
            unit="seconds",
            buckets=QUICK_S,
            registry=registry,
        )
        for access in ("reading", "writing"):
            self._wait_s.labels(access)

    def committed(self, reports: int, new: int, seconds: float) -> None:
        """Count a transaction that stored reports, of which some were new."""
        self._reports.labels("stored").inc(new)
        self._reports.labels("duplicate").inc(reports - new)
        self._commit_s.observe(seconds)
        self._commit_reports.observe(reports)

    def rejected(self, reports: int) -> None:
        """Count reports that were not stored because they are no good."""
        self._reports.labels("rejected").inc(reports)

    def answered(
        self, method: str, route: str | None, status: int, seconds: float | None
    ) -> None:
        """Count a request; one that stays open for its own sake has no time."""
        method = method if method in METHODS else "other"
        key = (method, route or NO_ROUTE, status // 100)
        count, time = self._routes.get(key) or self._new_route(*key)
        count.inc()
        if seconds is not None:
            time.observe(seconds)

    def _new_route(self, method: str, route: str, hundreds: int) -> _Route:
        # Looking children up by their labels takes longer than counting.
        found = self._routes[method, route, hundreds] = (
            self._requests.labels(method, route, f"{hundreds}xx"),
            self._request_s.labels(method, route),
        )
        return found

    def waited(self, access: str, seconds: float) -> None:
        """Count a wait for a connection to the database."""
        self._wait_s.labels(access).observe(seconds)

    def gauge(self, name: str, text: str, value: Callable[[], float]) -> None:
        """Add a gauge that is read when somebody asks."""
        Gauge(f"fadewatch_{name}", text, registry=self.registry).set_function(value)

    def counter(self, name: str, text: str) -> Callable[[], None]:
        """Add a counter; returns what counts one up."""
        return Counter(f"fadewatch_{name}", text, registry=self.registry).inc

    def process(self, name: str, pid: Callable[[], int | None]) -> None:
        """Add processor, memory and files of another process, while it runs."""
        # Of a number that no process has nothing is told.
        ProcessCollector(name, lambda: pid() or "none", registry=self.registry)


METERS = web.AppKey("METERS", Meters)
"""Set on the root application; without it nothing is counted."""
