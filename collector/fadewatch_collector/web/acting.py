"""What a person does through a form: who they are, and what went wrong."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus

from aiohttp import web

from fadewatch_collector.errors import NotAllowed
from fadewatch_collector.rules.operators import Operator, Role, at_least
from fadewatch_collector.web.forms import FORM_BYTES, FORM_FIELDS, read_form
from fadewatch_collector.web.keys import OPERATOR, SESSION
from fadewatch_collector.web.problems import sentence, status_of
from fadewatch_common.errors import FadewatchError

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Act:
    """A form that was sent, and by whom."""

    operator: Operator
    form: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a form was not taken, to be said where it stands.

    Attributes
    ----------
    name
        Of the form; empty when nothing was refused.
    typed
        What the person had filled in, so that nobody types it twice.
    """

    name: str = ""
    why: str = ""
    status: int = 200
    typed: Mapping[str, str] = field(default_factory=dict)


NOTHING_REFUSED = Refused()


def require(request: web.Request, role: Role, what: str) -> Operator:
    """Return who asks.

    Raises
    ------
    NotAllowed
        Their role is too low for it.
    """
    operator = request[OPERATOR]
    if not at_least(operator.role, role):
        _log.warning("operator %d is %s: refused", operator.id, operator.role)
        raise NotAllowed(what)
    return operator


async def read_act(
    request: web.Request,
    role: Role,
    what: str,
    *,
    most_bytes: int = FORM_BYTES,
    most_fields: int = FORM_FIELDS,
) -> Act:
    """Read a form that a signed-in person has sent.

    Raises
    ------
    NotAllowed
        Their role is too low for it.
    NotSignedIn
        It was not sent from one of our own pages in their session.
    """
    operator = require(request, role, what)
    form = await read_form(
        request, request[SESSION], most_bytes=most_bytes, most_fields=most_fields
    )
    return Act(operator, form)


def refused(name: str, error: FadewatchError, typed: Mapping[str, str]) -> Refused:
    """Say why a form was not taken."""
    return Refused(name, sentence(error), status_of(error), typed)


def go_to(path: str) -> web.Response:
    """Send the browser to a page, so that reloading it sends no form again."""
    return web.Response(status=HTTPStatus.SEE_OTHER, headers={"Location": path})
