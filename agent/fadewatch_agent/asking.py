"""Figures for the bench check: asked of the collector, else those kept from last time."""

import threading
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from fadewatch_agent.basis import Basis
from fadewatch_agent.configuration import Settings
from fadewatch_agent.enrolment import Enrolment, kept_enrolment
from fadewatch_agent.errors import AgentError, Refused
from fadewatch_agent.state import read_record, write_record
from fadewatch_common.bench.facts import BenchFigures
from fadewatch_common.decoding import UnreadableRecord, from_plain
from fadewatch_common.report import Laptop

FILE = "bench.json"
PATH = "/api/v1/bench-figures"

ASKING_SECONDS = 0.6
"""Longest wait for the collector's figures [s].

Own choice: the whole check should take less than a second.
"""


def basis(settings: Settings, laptop: Laptop, today: date, *, ask: bool) -> Basis:
    """Return the best figures that can be had now.

    Parameters
    ----------
    ask
        False: the collector is left alone.
    """
    try:
        enrolment = kept_enrolment(settings.state)
        kept = read_record(settings.state / FILE)
    except OSError as error:
        return _built_in(today, f"{settings.state} cannot be read: {error.strerror}")
    why = _why_not(settings, enrolment, laptop)
    if why is not None or enrolment is None:
        return _built_in(today, why)
    if not ask:
        return _kept(kept, enrolment, today, "it was not to be asked (--offline)")
    told, problem = _ask(settings, enrolment)
    if told is None:
        return _kept(kept, enrolment, today, problem)
    try:
        figures = from_plain(BenchFigures, told)
    except UnreadableRecord as error:
        return _kept(kept, enrolment, today, f"its answer cannot be used: {error}")
    _keep(settings.state, enrolment, told)
    return Basis(figures, "asked", None)


def _why_not(
    settings: Settings, enrolment: Enrolment | None, laptop: Laptop
) -> str | None:
    if settings.collector is None:
        return "no collector is set"
    if enrolment is None or enrolment.collector != settings.collector:
        return "this laptop is not enrolled"
    if not enrolment.is_of(laptop):
        return "the key that is kept is another laptop's"
    return None


def _ask(settings: Settings, enrolment: Enrolment) -> tuple[dict[str, Any] | None, str]:
    """Ask in a thread of its own: a name that is looked up cannot be hurried."""
    box: list[dict[str, Any] | str] = []

    def ask() -> None:
        # Only a run that asks pays for TLS.
        from fadewatch_agent.client import Client  # noqa: PLC0415

        try:
            client = Client(
                enrolment.collector, settings.ca, settings.proxy, ASKING_SECONDS
            )
            box.append(client.get(PATH, enrolment.key))
        except Refused as error:
            box.append(f"it refused the key: {error}")
        except AgentError as error:
            box.append(str(error))

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    asking.join(ASKING_SECONDS)
    got = box[0] if box else f"it did not answer within {ASKING_SECONDS} s"
    return (None, got) if isinstance(got, str) else (got, "")


def _kept(
    kept: Mapping[str, Any], enrolment: Enrolment, today: date, why: str
) -> Basis:
    if kept.get("collector") == enrolment.collector:
        try:
            figures = from_plain(BenchFigures, kept.get("figures"))
        except UnreadableRecord:
            return _built_in(today, why)
        return Basis(figures, "kept", why)
    return _built_in(today, why)


def _built_in(today: date, why: str | None) -> Basis:
    return Basis(BenchFigures(as_of=today), "built-in", why)


def _keep(state: Path, enrolment: Enrolment, told: dict[str, Any]) -> None:
    record = {"collector": enrolment.collector, "figures": told}
    try:
        write_record(state / FILE, record)
    except OSError:
        # Without the right to write nothing is kept, and the check goes on.
        return
