"""Operators and their API tokens: what administrators manage."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import (
    BODY_BYTES,
    NOTHING_ELSE,
    WHOLE,
    Label,
    OperatorName,
)
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.replies import done, reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.errors import Conflict, NotFound
from fadewatch_collector.rules.operators import (
    PASSWORD_LENGTH,
    PASSWORD_LIMIT,
    Role,
)
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.api_tokens import API_TOKEN_DAYS
from fadewatch_common.bounds import Between, Text


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatorAccount:
    """An operator; ``disabled_at`` is null while they may sign in."""

    id: int
    name: str
    role: Role
    created_at: datetime
    disabled_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatorAccounts:
    """Every operator, by name."""

    operators: Sequence[OperatorAccount]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOperator:
    """An operator to be added; the password is kept hashed only."""

    __pydantic_config__ = NOTHING_ELSE

    name: OperatorName
    role: Role
    password: Annotated[str, Text(PASSWORD_LIMIT, min_length=PASSWORD_LENGTH)]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddedOperator:
    """An operator who was just added."""

    id: int
    name: str
    role: Role


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownApiToken:
    """An API token without its secret."""

    id: int
    label: str
    operator_name: str
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownApiTokens:
    """Every API token, newest first."""

    tokens: Sequence[KnownApiToken]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewApiToken:
    """An API token to be made."""

    __pydantic_config__ = NOTHING_ELSE

    label: Label
    days: Annotated[int, Between(1, API_TOKEN_DAYS), WHOLE]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeToken:
    """A token that was just made: shown this once."""

    token: str


_OPERATORS = TypeAdapter(OperatorAccounts)
_NEW_OPERATOR = TypeAdapter(NewOperator)
_ADDED = TypeAdapter(AddedOperator)
_TOKENS = TypeAdapter(KnownApiTokens)
_NEW_TOKEN = TypeAdapter(NewApiToken)
_MADE = TypeAdapter(MadeToken)


async def show_operators(request: web.Request) -> web.Response:
    """Answer with every operator."""
    found = await accounts.list_operators(request.app[SERVICES])
    known = [
        OperatorAccount(
            id=one.operator.id,
            name=one.operator.name,
            role=one.operator.role,
            created_at=one.created_at,
            disabled_at=one.disabled_at,
        )
        for one in found
    ]
    return reply(_OPERATORS, OperatorAccounts(operators=known))


async def add_operator(request: web.Request) -> web.Response:
    """Add an operator."""
    asked = await read_model(request, _NEW_OPERATOR, BODY_BYTES)
    added = await accounts.add_operator(
        request.app[SERVICES],
        asked.name,
        asked.role,
        asked.password,
        by=request[OPERATOR].name,
    )
    answer = AddedOperator(id=added.id, name=added.name, role=added.role)
    return reply(_ADDED, answer, HTTPStatus.CREATED)


async def disable_operator(request: web.Request) -> web.Response:
    """Disable an operator, never oneself: one administrator always stays."""
    name = await _name(request)
    if name == request[OPERATOR].name:
        raise Conflict("nobody disables themselves: ask another administrator")
    by = request[OPERATOR].name
    await accounts.disable_operator(request.app[SERVICES], name, by=by)
    return done()


async def enable_operator(request: web.Request) -> web.Response:
    """Take a disabled operator back."""
    name = await _name(request)
    by = request[OPERATOR].name
    await accounts.enable_operator(request.app[SERVICES], name, by=by)
    return done()


async def sign_operator_out(request: web.Request) -> web.Response:
    """End an operator's sessions."""
    name = await _name(request)
    by = request[OPERATOR].name
    await accounts.sign_out_everywhere(request.app[SERVICES], name, by=by)
    return done()


async def show_api_tokens(request: web.Request) -> web.Response:
    """Answer with every API token, without secrets."""
    found = await accounts.list_api_tokens(request.app[SERVICES])
    tokens = [KnownApiToken(**taken(KnownApiToken, one)) for one in found]
    return reply(_TOKENS, KnownApiTokens(tokens=tokens))


async def make_api_token(request: web.Request) -> web.Response:
    """Make an API token for an operator."""
    asked = await read_model(request, _NEW_TOKEN, BODY_BYTES)
    token = await accounts.make_api_token(
        request.app[SERVICES],
        await _name(request),
        asked.label,
        asked.days,
        by=request[OPERATOR].name,
    )
    return reply(_MADE, MadeToken(token=token), HTTPStatus.CREATED)


async def revoke_api_token(request: web.Request) -> web.Response:
    """Revoke an API token."""
    number = number_in(request, "token_id", "live API token")
    by = request[OPERATOR].name
    await accounts.revoke_api_token(request.app[SERVICES], number, by=by)
    return done()


async def _name(request: web.Request) -> str:
    """Return the name of the operator whose number stands in the path."""
    number = number_in(request, "operator_id", "operator")
    for one in await accounts.list_operators(request.app[SERVICES]):
        if one.operator.id == number:
            return one.operator.name
    raise NotFound("operator", number)
