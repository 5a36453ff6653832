"""Sessions of people: opened, used, left idle, ended by them or for them."""

import hmac
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.operators import Operator, clean_name, subject_of
from fadewatch_collector.store import accounts as account_rows
from fadewatch_collector.store import api_tokens as api_token_rows
from fadewatch_collector.store import sessions as rows
from fadewatch_collector.store.audit import note
from fadewatch_collector.usecases.bearer import COMMAND_LINE, digest_of, new_token
from fadewatch_collector.usecases.services import Services

SESSION_PREFIX = "fws_"

MARK_EVERY = timedelta(minutes=1)
"""How often the use of a session is written down. Own choice."""

Way = Literal["password", "link", "organisation"]


@dataclass(frozen=True, slots=True)
class KnownSession:
    """One of a person's sessions as they are shown it.

    Attributes
    ----------
    name
        Names the session when it is to be ended, and opens nothing.
    is_this
        It is the one that asks.
    """

    name: str
    created_at: datetime
    used_at: datetime
    expires_at: datetime
    opened_by: str | None
    is_this: bool


async def open_session(
    services: Services, operator: Operator, way: Way = "password"
) -> str:
    """Open a session for a person who has shown who they are; return its token."""
    token = new_token(SESSION_PREFIX)
    now = services.clock()
    expires_at = now + timedelta(hours=services.settings.session_hours)
    async with services.store.writing() as connection:
        await rows.add_session(
            connection, digest_of(token), operator.id, now, expires_at, way
        )
        await note(
            connection,
            now,
            who=operator.name,
            action="signed in",
            subject=subject_of(operator),
            detail={"by": way},
        )
    return token


async def operator_of_session(
    services: Services, token: str, *, is_use: bool = True
) -> Operator | None:
    """Return whose session it is; None when it is unknown, ended, expired or idle.

    Parameters
    ----------
    is_use
        The person did something; what an open page asks by itself does not count.
    """
    if not token.startswith(SESSION_PREFIX):
        return None
    now, digest = services.clock(), digest_of(token)
    async with services.store.reading() as connection:
        found = await rows.session_operator(connection, digest, now, _idle(services))
    if found is None:
        return None
    operator, used_at = found
    if is_use and now - used_at >= MARK_EVERY:
        async with services.store.writing() as connection:
            await rows.mark_used(connection, digest, now)
    return operator


async def close_session(services: Services, token: str) -> str | None:
    """End a session and return how it was opened; an unknown one is no error."""
    now, digest = services.clock(), digest_of(token)
    async with services.store.writing() as connection:
        found = await rows.session_operator(connection, digest, now, _idle(services))
        way = await rows.opened_by(connection, digest)
        await rows.end_session(connection, digest)
        if found is not None:
            await note(
                connection,
                now,
                who=found[0].name,
                action="signed out",
                subject=subject_of(found[0]),
            )
    return way


async def sessions_of(
    services: Services, operator: Operator, token: str
) -> Sequence[KnownSession]:
    """Return a person's sessions, the newest first.

    Parameters
    ----------
    token
        Of the session that asks.
    """
    this = digest_of(token)
    async with services.store.reading() as connection:
        found = await rows.live_sessions(
            connection, operator.id, services.clock(), _idle(services)
        )
    return [
        KnownSession(
            name=one.digest.hex(),
            created_at=one.created_at,
            used_at=one.used_at,
            expires_at=one.expires_at,
            opened_by=one.opened_by,
            is_this=hmac.compare_digest(one.digest, this),
        )
        for one in found
    ]


async def end_own_session(services: Services, operator: Operator, name: str) -> None:
    """End one of a person's own sessions, by its name.

    Raises
    ------
    NotFound
        They have no such session.
    """
    try:
        digest = bytes.fromhex(name)
    except ValueError:
        digest = b""
    now = services.clock()
    async with services.store.writing() as connection:
        if not await rows.end_session(connection, digest, operator.id):
            raise NotFound("session", "of yours by that name; it has ended")
        await note(
            connection,
            now,
            who=operator.name,
            action="session ended",
            subject=subject_of(operator),
        )


async def sign_out_everywhere(
    services: Services, name: str, *, tokens: bool = False, by: str = COMMAND_LINE
) -> None:
    """End every session and unused sign-in link of one operator.

    Parameters
    ----------
    tokens
        Their API tokens are revoked too.

    Raises
    ------
    NotFound
        There is no such operator.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        account = await account_rows.known_account(connection, clean_name(name))
        operator = account.operator
        await account_rows.end_sign_ins(connection, operator.id)
        if tokens:
            await api_token_rows.revoke_api_tokens_of(connection, operator.id, now)
        await note(
            connection,
            now,
            who=by,
            action="signed out everywhere",
            subject=subject_of(operator),
            detail={"API tokens revoked": tokens},
        )


async def sign_everybody_out(services: Services, *, by: str = COMMAND_LINE) -> int:
    """End the sessions of everybody; return how many there were."""
    now = services.clock()
    async with services.store.writing() as connection:
        ended = await rows.end_all_sessions(connection)
        await note(
            connection,
            now,
            who=by,
            action="everybody signed out",
            subject="operator:all",
            detail={"sessions": ended},
        )
    return ended


def _idle(services: Services) -> timedelta:
    return timedelta(minutes=services.settings.session_idle_minutes)
