"""API tokens: with one, a program acts for an operator."""

from datetime import timedelta

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.rules.operators import Operator, clean_name, subject_of
from fadewatch_collector.store import api_tokens as rows
from fadewatch_collector.store.accounts import able_operator
from fadewatch_collector.store.api_tokens import ApiToken
from fadewatch_collector.store.audit import note
from fadewatch_collector.usecases.bearer import COMMAND_LINE, digest_of, new_token
from fadewatch_collector.usecases.services import Services

API_PREFIX = "fwa_"

API_TOKEN_DAYS = 730
"""Longest life of an API token [day]. Own choice."""

LABEL_LENGTH = 100
"""Longest label of an API token [characters]. Own choice."""


async def make_api_token(
    services: Services,
    operator_name: str,
    label: str,
    lifetime_days: int,
    *,
    by: str = COMMAND_LINE,
) -> str:
    """Make a token with which a program acts for an operator.

    Raises
    ------
    NotFound
        There is no such operator.
    Conflict
        The operator is disabled.
    InvalidRequest
        The label or the lifetime cannot be used.
    """
    label = label.strip()
    problem = _api_token_problem(label, lifetime_days)
    if problem is not None:
        raise InvalidRequest(problem)
    token = new_token(API_PREFIX)
    now = services.clock()
    expires_at = now + timedelta(days=lifetime_days)
    async with services.store.writing() as connection:
        operator = await able_operator(connection, clean_name(operator_name))
        number = await rows.add_api_token(
            connection,
            digest_of(token),
            operator_id=operator.id,
            label=label,
            now=now,
            expires_at=expires_at,
        )
        await note(
            connection,
            now,
            who=by,
            action="API token made",
            subject=subject_of(operator),
            detail={"token": number, "label": label},
        )
    return token


async def operator_of_api_token(services: Services, token: str) -> Operator | None:
    """Return for whom an API token acts; None when it is unknown, ended or expired."""
    if not token.startswith(API_PREFIX):
        return None
    async with services.store.reading() as connection:
        return await rows.api_token_operator(
            connection, digest_of(token), services.clock()
        )


async def revoke_api_token(
    services: Services, token_id: int, *, by: str = COMMAND_LINE
) -> None:
    """Revoke an API token by its number.

    Raises
    ------
    NotFound
        There is no such token, or it is revoked already.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        label = await rows.revoke_api_token(connection, token_id, now)
        if label is None:
            raise NotFound("live API token", token_id)
        await note(
            connection,
            now,
            who=by,
            action="API token revoked",
            subject=f"api-token:{token_id}",
            detail={"label": label},
        )


async def list_api_tokens(services: Services) -> list[ApiToken]:
    """Return every API token without its secret, newest first."""
    async with services.store.reading() as connection:
        return await rows.all_api_tokens(connection)


def _api_token_problem(label: str, lifetime_days: int) -> str | None:
    if not label or len(label) > LABEL_LENGTH or not label.isprintable():
        return f"the label needs 1 to {LABEL_LENGTH} characters that can be shown"
    if not 1 <= lifetime_days <= API_TOKEN_DAYS:
        return f"the lifetime must be 1 to {API_TOKEN_DAYS} days"
    return None
