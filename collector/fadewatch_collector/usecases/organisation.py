"""Signing in through the organisation: which account, and with which role."""

from collections.abc import Callable, Mapping
from contextlib import AbstractAsyncContextManager, nullcontext
from datetime import datetime
from typing import Any

from fadewatch_collector.errors import Conflict, InvalidRequest, NotSignedIn
from fadewatch_collector.outbound.identity_provider import (
    IdentityProvider,
    ProviderSettings,
    open_provider,
)
from fadewatch_collector.rules.operators import (
    Operator,
    Role,
    clean_name,
    name_problem,
    subject_of,
)
from fadewatch_collector.rules.provider_claims import ClaimRules
from fadewatch_collector.settings import Settings
from fadewatch_collector.store import accounts as rows
from fadewatch_collector.store import identities
from fadewatch_collector.store.audit import note
from fadewatch_collector.store.roles import set_role
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.bearer import COMMAND_LINE
from fadewatch_collector.usecases.services import Services

__all__ = ["BACK_PATH", "IdentityProvider", "link", "operator_of", "provider_of"]

BACK_PATH = "/sign-in/organisation/back"
"""Where the provider sends browsers back to: to be registered there."""

BY_THE_PROVIDER = "the organisation"
"""Who acts, in the audit trail, when the provider's word changes an account."""

LONGEST_SUBJECT = 255
"""OpenID Connect Core 1.0 section 2 allows no longer one [characters]."""

NO_ROLE = "your organisation gives you no role here; ask who looks after Fadewatch"
DISABLED = "your account here is disabled; ask an administrator"


def provider_of(
    settings: Settings, clock: Callable[[], datetime]
) -> AbstractAsyncContextManager[IdentityProvider | None]:
    """Return the provider of the settings, to be opened; None when there is none."""
    if settings.oidc_issuer is None or settings.oidc_client_id is None:
        return nullcontext()
    secret, rules = settings.oidc_client_secret, _rules(settings)
    wanted = [rules.name_claim] if settings.oidc_new_accounts else []
    if rules.gives_roles:
        wanted.append(rules.role_claim.partition(".")[0])
    known = ProviderSettings(
        issuer=settings.oidc_issuer,
        client_id=settings.oidc_client_id,
        client_secret=None if secret is None else secret.get_secret_value(),
        scopes=settings.oidc_scopes,
        redirect_uri=settings.pages_url + BACK_PATH,
        other_hosts=frozenset(_listed(settings.oidc_other_hosts)),
        wanted_claims=wanted,
    )
    return open_provider(known, settings.private_ca, clock)


async def operator_of(services: Services, claims: Mapping[str, Any]) -> Operator:
    """Return whose account proven claims open; a new one where that is allowed.

    Raises
    ------
    NotSignedIn
        There is no account and none may be made, it is disabled, or the organisation
        gives no role here; the message says which.
    """
    rules, now = _rules(services.settings), services.clock()
    issuer, subject = str(claims["iss"]), str(claims["sub"])[:LONGEST_SUBJECT]
    role = rules.role_of(claims) if rules.gives_roles else None
    if rules.gives_roles and role is None:
        raise NotSignedIn(NO_ROLE)
    async with services.store.writing() as connection:
        account = await identities.account_at(connection, issuer, subject)
        if account is None:
            name = _new_name(services.settings, rules, claims)
            return await _added(
                connection, name, role or "viewer", issuer, subject, now
            )
        if account.disabled_at is not None:
            raise NotSignedIn(DISABLED)
        return await _with_role(connection, account.operator, role, now)


async def link(
    services: Services, name: str, subject: str, *, by: str = COMMAND_LINE
) -> None:
    """Let an operator sign in as who the provider calls by a subject.

    Raises
    ------
    NotFound
        There is no such operator.
    InvalidRequest
        No provider is set, or the subject cannot be one.
    Conflict
        That subject is somebody else here.
    """
    issuer = services.settings.oidc_issuer
    if issuer is None:
        raise InvalidRequest("no identity provider is set: FADEWATCH_OIDC_ISSUER")
    if not 0 < len(subject) <= LONGEST_SUBJECT:
        raise InvalidRequest(f"a subject has 1 to {LONGEST_SUBJECT} characters")
    now = services.clock()
    async with services.store.writing() as connection:
        account = await rows.known_account(connection, clean_name(name))
        if await identities.account_at(connection, issuer, subject) is not None:
            raise Conflict("that subject is linked to an account already")
        operator = account.operator
        await identities.add_identity(connection, operator.id, issuer, subject, now)
        await note(
            connection,
            now,
            who=by,
            action="linked",
            subject=subject_of(operator),
            detail={"issuer": issuer, "subject": subject},
        )


def _new_name(settings: Settings, rules: ClaimRules, claims: Mapping[str, Any]) -> str:
    if not settings.oidc_new_accounts:
        raise NotSignedIn(
            "you have no account here yet; an administrator links one with "
            f"'fadewatch-collector user link NAME --subject {claims['sub']}'"
        )
    name = rules.name_of(claims)
    problem = name_problem(name)
    if problem is not None:
        raise NotSignedIn(f"no account can be made from what came: {problem}")
    return name


async def _added(
    connection: WriteConnection,
    name: str,
    role: Role,
    issuer: str,
    subject: str,
    now: datetime,
) -> Operator:
    if await rows.account_named(connection, name) is not None:
        # A name at the provider may be chosen there by its owner: it proves nothing.
        raise NotSignedIn(
            f"there is an account {name} already; if it is yours, an administrator "
            f"links it with 'fadewatch-collector user link {name} --subject {subject}'"
        )
    added = await rows.add_operator(connection, name, role, rows.NO_PASSWORD, now)
    await identities.add_identity(connection, added.id, issuer, subject, now)
    await note(
        connection,
        now,
        who=BY_THE_PROVIDER,
        action="operator added",
        subject=subject_of(added),
        detail={"role": role, "issuer": issuer, "subject": subject},
    )
    return added


async def _with_role(
    connection: WriteConnection, operator: Operator, role: Role | None, now: datetime
) -> Operator:
    if role is None or role == operator.role:
        return operator
    await set_role(connection, operator.id, role)
    await rows.end_sign_ins(connection, operator.id)
    await note(
        connection,
        now,
        who=BY_THE_PROVIDER,
        action="role set",
        subject=subject_of(operator),
        detail={"before": operator.role, "after": role},
    )
    return Operator(id=operator.id, name=operator.name, role=role)


def _rules(settings: Settings) -> ClaimRules:
    return ClaimRules(
        name_claim=settings.oidc_name_claim,
        role_claim=settings.oidc_role_claim,
        values={
            "viewer": _listed(settings.oidc_viewers),
            "technician": _listed(settings.oidc_technicians),
            "administrator": _listed(settings.oidc_administrators),
        },
    )


def _listed(text: str) -> list[str]:
    return [one.strip() for one in text.split(",") if one.strip()]
