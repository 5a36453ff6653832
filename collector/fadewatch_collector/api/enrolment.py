"""POST /enrol: a laptop turns a token into its own key."""

from http import HTTPStatus

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import EnrolledLaptop
from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.keys import ENROLMENT_BUCKETS, SERVICES
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.requests import Enrolment
from fadewatch_collector.edge.asked import client_address
from fadewatch_collector.usecases.enrolment import enrol

BODY_BYTES = 64 * 1024
"""Largest enrolment [bytes]. Own choice; one within all bounds has under 8 KiB."""

_ENROLMENT = TypeAdapter(Enrolment)
_ENROLLED = TypeAdapter(EnrolledLaptop)


async def enrol_laptop(request: web.Request) -> web.Response:
    """Enrol the laptop and answer with its key."""
    request.app[ENROLMENT_BUCKETS].take(client_address(request))
    asked = await read_model(request, _ENROLMENT, BODY_BYTES)
    enrolled = await enrol(
        request.app[SERVICES], asked.token, asked.laptop, asked.agent, asked.attempt
    )
    answer = EnrolledLaptop(laptop_id=enrolled.laptop_id, key=enrolled.key)
    return reply(_ENROLLED, answer, HTTPStatus.CREATED)
