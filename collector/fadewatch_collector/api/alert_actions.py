"""GET /alerts/{alert_id}, and what people do with an alert."""

from dataclasses import dataclass
from datetime import date
from typing import Annotated

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api import wording
from fadewatch_collector.api.answers import AlertDetails
from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import (
    BODY_BYTES,
    NOTHING_ELSE,
    WRITTEN,
    OperatorName,
    Version,
)
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.replies import reply
from fadewatch_collector.usecases import alert_actions
from fadewatch_collector.usecases.alert_actions import NOTE_LENGTH
from fadewatch_collector.usecases.laptop_trail import alert_view

Words = Annotated[str, StringConstraints(max_length=NOTE_LENGTH, pattern=WRITTEN)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledgement:
    """The alert was seen and is being dealt with."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedDay:
    """The day on which it will be dealt with: today (UTC) or later."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertHandOver:
    """The operator who deals with it from now on."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    to: OperatorName


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertNote:
    """A note; notes never clash, so no version is asked for."""

    __pydantic_config__ = NOTHING_ELSE

    text: Words


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertEnd:
    """Why the alert ends."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    because: Words


_ALERT = TypeAdapter(AlertDetails)
_ACKNOWLEDGEMENT = TypeAdapter(Acknowledgement)
_PLANNED_DAY = TypeAdapter(PlannedDay)
_HAND_OVER = TypeAdapter(AlertHandOver)
_NOTE = TypeAdapter(AlertNote)
_END = TypeAdapter(AlertEnd)


async def show_alert(request: web.Request) -> web.Response:
    """Answer with one alert and its trail."""
    return await _answer(request, _number(request))


async def acknowledge_alert(request: web.Request) -> web.Response:
    """Acknowledge an alert."""
    asked = await read_model(request, _ACKNOWLEDGEMENT, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    await alert_actions.acknowledge(services, number, asked.version, request[OPERATOR])
    return await _answer(request, number)


async def plan_alert(request: web.Request) -> web.Response:
    """Set the day on which an alert will be dealt with."""
    asked = await read_model(request, _PLANNED_DAY, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    operator = request[OPERATOR]
    await alert_actions.plan(services, number, asked.version, operator, asked.on)
    return await _answer(request, number)


async def hand_alert_over(request: web.Request) -> web.Response:
    """Hand an alert over to an operator."""
    asked = await read_model(request, _HAND_OVER, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    operator = request[OPERATOR]
    await alert_actions.hand_over(services, number, asked.version, operator, asked.to)
    return await _answer(request, number)


async def note_alert(request: web.Request) -> web.Response:
    """Add a note to an alert."""
    asked = await read_model(request, _NOTE, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    await alert_actions.add_note(services, number, request[OPERATOR], asked.text)
    return await _answer(request, number)


async def end_alert(request: web.Request) -> web.Response:
    """End an alert by hand."""
    asked = await read_model(request, _END, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    operator = request[OPERATOR]
    await alert_actions.end(services, number, asked.version, operator, asked.because)
    return await _answer(request, number)


def _number(request: web.Request) -> int:
    return number_in(request, "alert_id", "alert")


async def _answer(request: web.Request, number: int) -> web.Response:
    found = await alert_view(request.app[SERVICES], number)
    return reply(_ALERT, wording.alert_details(found))
