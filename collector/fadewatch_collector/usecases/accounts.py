"""Operator accounts: passwords and one-time sign-ins.

Every change is written to the audit trail.
"""

import logging
import secrets
from datetime import timedelta

from fadewatch_collector.errors import (
    Conflict,
    InvalidRequest,
    NotSignedIn,
)
from fadewatch_collector.rules.operators import (
    PASSWORD_LENGTH,
    Operator,
    Role,
    clean_name,
    name_problem,
    password_problem,
    subject_of,
)
from fadewatch_collector.store import accounts as rows
from fadewatch_collector.store import api_tokens as api_token_rows
from fadewatch_collector.store.accounts import Account
from fadewatch_collector.store.api_tokens import ApiToken
from fadewatch_collector.store.audit import note
from fadewatch_collector.usecases.api_tokens import (
    list_api_tokens,
    make_api_token,
    operator_of_api_token,
    revoke_api_token,
)
from fadewatch_collector.usecases.bearer import (
    COMMAND_LINE,
    SECRET_BYTES,
    digest_of,
    new_token,
)
from fadewatch_collector.usecases.passwords import (
    check_password,
    hash_password,
    is_outdated,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.sessions import (
    close_session,
    end_own_session,
    open_session,
    operator_of_session,
    sessions_of,
    sign_everybody_out,
    sign_out_everywhere,
)

__all__ = [
    "COMMAND_LINE",
    "PASSWORD_LENGTH",
    "Account",
    "ApiToken",
    "Operator",
    "Role",
    "add_operator",
    "change_own_password",
    "close_session",
    "cookie_secret",
    "disable_operator",
    "enable_operator",
    "end_own_session",
    "has_password",
    "list_api_tokens",
    "list_operators",
    "make_api_token",
    "make_single_sign_in",
    "open_session",
    "operator_of_api_token",
    "operator_of_session",
    "revoke_api_token",
    "sessions_of",
    "set_password",
    "sign_everybody_out",
    "sign_in",
    "sign_in_path",
    "sign_out_everywhere",
    "use_single_sign_in",
]

ONE_TIME_PREFIX = "fwo_"
WRONG_SIGN_IN = "the name or the password is wrong"
SPENT_SIGN_IN = "this sign-in link is unknown, used or expired; ask for another"

_log = logging.getLogger(__name__)


async def add_operator(
    services: Services,
    name: str,
    role: Role,
    password: str,
    *,
    by: str = COMMAND_LINE,
) -> Operator:
    """Add an operator.

    Raises
    ------
    InvalidRequest
        The name or the password cannot be used.
    Conflict
        The name is taken.
    """
    name = clean_name(name)
    _refuse(name_problem(name) or password_problem(name, password))
    password_hash = await hash_password(password)
    now = services.clock()
    async with services.store.writing() as connection:
        if await rows.account_named(connection, name) is not None:
            raise Conflict(f"there is an operator {name} already")
        added = await rows.add_operator(connection, name, role, password_hash, now)
        await note(
            connection,
            now,
            who=by,
            action="operator added",
            subject=subject_of(added),
            detail={"role": role},
        )
    return added


async def set_password(
    services: Services,
    name: str,
    password: str,
    *,
    tokens: bool = False,
    by: str = COMMAND_LINE,
) -> None:
    """Give an operator another password; their sessions and sign-in links end.

    Parameters
    ----------
    tokens
        Their API tokens are revoked too; else they stay.

    Raises
    ------
    NotFound
        There is no such operator.
    InvalidRequest
        The password cannot be used.
    """
    name = clean_name(name)
    _refuse(password_problem(name, password))
    password_hash = await hash_password(password)
    now = services.clock()
    async with services.store.writing() as connection:
        operator = (await rows.known_account(connection, name)).operator
        await rows.set_password_hash(connection, operator.id, password_hash)
        await rows.end_sign_ins(connection, operator.id)
        if tokens:
            await api_token_rows.revoke_api_tokens_of(connection, operator.id, now)
        await note(
            connection, now, who=by, action="password set", subject=subject_of(operator)
        )


async def change_own_password(
    services: Services, operator: Operator, current: str, password: str
) -> None:
    """Let a person change their own password; every session of theirs ends.

    Raises
    ------
    InvalidRequest
        The current password is wrong, or the new one cannot be used.
    """
    async with services.store.reading() as connection:
        account = await rows.known_account(connection, operator.name)
    if not await check_password(account.password_hash, current):
        raise InvalidRequest("the current password is wrong")
    await set_password(services, operator.name, password, by=operator.name)


async def has_password(services: Services, operator: Operator) -> bool:
    """Say whether a person can sign in here with a password of their own."""
    async with services.store.reading() as connection:
        account = await rows.known_account(connection, operator.name)
    return account.password_hash != rows.NO_PASSWORD


async def disable_operator(
    services: Services, name: str, *, by: str = COMMAND_LINE
) -> None:
    """Disable an operator: their sessions, sign-in links and API tokens end at once.

    Raises
    ------
    NotFound
        There is no such operator.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        account = await rows.known_account(connection, clean_name(name))
        operator = account.operator
        await rows.set_disabled(connection, operator.id, account.disabled_at or now)
        await rows.end_sign_ins(connection, operator.id)
        await api_token_rows.revoke_api_tokens_of(connection, operator.id, now)
        await note(
            connection,
            now,
            who=by,
            action="operator disabled",
            subject=subject_of(operator),
        )


async def enable_operator(
    services: Services, name: str, *, by: str = COMMAND_LINE
) -> None:
    """Take a disabled operator back, with the password they had; API tokens stay out.

    Raises
    ------
    NotFound
        There is no such operator.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        operator = (await rows.known_account(connection, clean_name(name))).operator
        await rows.set_disabled(connection, operator.id, None)
        await note(
            connection,
            now,
            who=by,
            action="operator enabled",
            subject=subject_of(operator),
        )


async def list_operators(services: Services) -> list[Account]:
    """Return every operator with when they were added and disabled, by name."""
    async with services.store.reading() as connection:
        return await rows.accounts(connection)


async def sign_in(services: Services, name: str, password: str) -> Operator:
    """Check a name and a password; takes as long for names that do not exist.

    Raises
    ------
    NotSignedIn
        Name or password is wrong, or the operator is disabled: not told apart.
    TooManyAttempts
        Too many passwords are being checked at this moment.
    """
    async with services.store.reading() as connection:
        account = await rows.account_named(connection, clean_name(name))
    password_hash = account.password_hash if account else None
    right = await check_password(password_hash, password)
    right = right and _may_use_password(services, name)
    if account is None or not right or account.disabled_at is not None:
        # A name that no account has may be a password typed into the wrong field.
        who = account.operator.name if account else "an unknown name"
        _log.warning("sign-in refused for %r", who)
        raise NotSignedIn(WRONG_SIGN_IN)
    if is_outdated(account.password_hash):
        better = await hash_password(password)
        async with services.store.writing() as connection:
            await rows.set_password_hash(connection, account.operator.id, better)
    return account.operator


async def make_single_sign_in(
    services: Services,
    operator_name: str,
    lifetime: timedelta,
    *,
    by: str = COMMAND_LINE,
) -> str:
    """Make a token that signs an operator in once.

    Raises
    ------
    NotFound
        There is no such operator.
    Conflict
        The operator is disabled.
    """
    token = new_token(ONE_TIME_PREFIX)
    now = services.clock()
    async with services.store.writing() as connection:
        operator = await rows.able_operator(connection, clean_name(operator_name))
        await rows.add_single_sign_in(
            connection, digest_of(token), operator.id, now, now + lifetime
        )
        await note(
            connection,
            now,
            who=by,
            action="sign-in link made",
            subject=subject_of(operator),
        )
    return token


def sign_in_path(token: str) -> str:
    """Return the path of the page where a one-time token is used."""
    return f"/sign-in/once?token={token}"


async def use_single_sign_in(services: Services, token: str) -> Operator:
    """Spend a one-time token and return whom it signs in.

    Raises
    ------
    NotSignedIn
        The token is unknown, used or expired, or its operator is disabled.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        operator = await rows.use_single_sign_in(connection, digest_of(token), now)
        if operator is None:
            raise NotSignedIn(SPENT_SIGN_IN)
        await note(
            connection,
            now,
            who=operator.name,
            action="sign-in link used",
            subject=subject_of(operator),
        )
    return operator


async def cookie_secret(services: Services) -> str:
    """Return the secret that signs cookies, made at the first call on a store."""
    async with services.store.writing() as connection:
        return await rows.value_or_new(
            connection, "cookie-secret", secrets.token_urlsafe(SECRET_BYTES)
        )


def _may_use_password(services: Services, name: str) -> bool:
    only = services.settings.password_only_for
    return only is None or clean_name(only) == clean_name(name)


def _refuse(problem: str | None) -> None:
    if problem is not None:
        raise InvalidRequest(problem)
