"""Enrolment tokens: what a laptop shows once, to get its own key."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Annotated

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, WHOLE, Label, Site
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.operators import MadeToken
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.replies import done, reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.usecases import enrolment
from fadewatch_common.bounds import Between

MOST_DAYS = 3650
MOST_USES = 1_000_000
"""Longest life and most uses of a token; the same as on the command line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EnrolmentToken:
    """An enrolment token without its secret.

    Attributes
    ----------
    uses, use_limit
        Laptops that it has enrolled, and may enrol at most [count].
    """

    id: int
    label: str
    site: str | None
    created_at: datetime
    created_by: str
    expires_at: datetime
    uses: int
    use_limit: int
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EnrolmentTokens:
    """Every enrolment token, newest first."""

    tokens: Sequence[EnrolmentToken]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewEnrolmentToken:
    """An enrolment token to be made; laptops enrolled with it belong to the site."""

    __pydantic_config__ = NOTHING_ELSE

    label: Label
    site: Site | None = None
    days: Annotated[int, Between(1, MOST_DAYS), WHOLE] = 30
    uses: Annotated[int, Between(1, MOST_USES), WHOLE] = 500


_TOKENS = TypeAdapter(EnrolmentTokens)
_NEW = TypeAdapter(NewEnrolmentToken)
_MADE = TypeAdapter(MadeToken)


async def show_enrolment_tokens(request: web.Request) -> web.Response:
    """Answer with every enrolment token, without secrets."""
    found = await enrolment.list_tokens(request.app[SERVICES])
    tokens = [EnrolmentToken(**taken(EnrolmentToken, one)) for one in found]
    return reply(_TOKENS, EnrolmentTokens(tokens=tokens))


async def make_enrolment_token(request: web.Request) -> web.Response:
    """Make an enrolment token."""
    asked = await read_model(request, _NEW, BODY_BYTES)
    secret = await enrolment.make_token(
        request.app[SERVICES],
        label=asked.label.strip(),
        site=asked.site and asked.site.strip(),
        lifetime=timedelta(days=asked.days),
        use_limit=asked.uses,
        who=request[OPERATOR].name,
    )
    return reply(_MADE, MadeToken(token=secret), HTTPStatus.CREATED)


async def revoke_enrolment_token(request: web.Request) -> web.Response:
    """Revoke an enrolment token; laptops enrolled with it keep their keys."""
    number = number_in(request, "token_id", "token")
    by = request[OPERATOR].name
    await enrolment.revoke_token(request.app[SERVICES], number, by)
    return done()
