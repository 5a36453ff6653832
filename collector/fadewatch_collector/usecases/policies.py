"""The policy in force for each laptop, and changing it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fadewatch_collector.errors import ChangedMeanwhile, InvalidRequest
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.policy_scopes import (
    FLEET,
    changes_problem,
    policy_in_force,
    scopes_of,
)
from fadewatch_collector.store import audit
from fadewatch_collector.store import policies as rows
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import Policy

SCOPE_LENGTH = 300


async def policy_of(
    connection: WriteConnection,
    services: Services,
    site: str | None,
    maker: str | None,
    model: str | None,
) -> Policy:
    """Return the policy in force for a laptop."""
    changes = await rows.all_changes(connection)
    return policy_in_force(services.policy, changes, scopes_of(site, maker, model))


async def fleet_policy(services: Services) -> Policy:
    """Return the policy of the whole fleet."""
    async with services.store.reading() as connection:
        changes = await rows.all_changes(connection)
    return policy_in_force(services.policy, changes, [FLEET])


async def list_changes(services: Services) -> dict[str, dict[str, Any]]:
    """Return what differs from the default policy, by scope."""
    async with services.store.reading() as connection:
        return await rows.all_changes(connection)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopedPolicy:
    """The policy of one scope.

    Attributes
    ----------
    changes
        What differs from the broader policy.
    in_force
        The policy that comes of it, under the fleet's.
    version
        Goes up with each change; 0 is: never changed.
    """

    scope: str
    changes: Mapping[str, Any]
    in_force: Policy
    version: int
    changed_at: datetime | None
    changed_by: str | None


async def policy_of_scope(services: Services, scope: str) -> ScopedPolicy:
    """Return the policy of a scope, changed or not.

    Raises
    ------
    InvalidRequest
        The scope is none.
    """
    _check_scope(scope)
    async with services.store.reading() as connection:
        known = await rows.all_changes(connection)
        last = await audit.last_of(connection, f"policy:{scope}")
    return ScopedPolicy(
        scope=scope,
        changes=known.get(scope, {}),
        in_force=policy_in_force(services.policy, known, [FLEET, scope]),
        version=last.id if last else 0,
        changed_at=last.at if last else None,
        changed_by=last.who if last else None,
    )


async def change_policy(
    services: Services,
    scope: str,
    changes: Mapping[str, Any],
    operator: Operator,
    *,
    version: int | None = None,
) -> None:
    """Set what differs in a scope; packs are assessed by it from now on.

    Parameters
    ----------
    version
        Of the policy that the person saw; None does not ask.

    Raises
    ------
    InvalidRequest
        The scope or a value cannot be used; the message says which and why.
    ChangedMeanwhile
        Somebody changed the scope's policy since that version.
    """
    _check_scope(scope)
    now = services.clock()
    async with services.store.writing() as connection:
        known = await rows.all_changes(connection)
        base = services.policy
        if scope != FLEET:
            base = policy_in_force(base, known, [FLEET])
        if problem := changes_problem(base, changes):
            raise InvalidRequest(problem)
        await rows.keep_changes(connection, scope, dict(changes), operator.name, now)
        if version is not None:
            # Asked after the row is written: whoever is second has waited for it.
            await _check_version(connection, scope, version)
        await audit.note(
            connection,
            now,
            operator.name,
            "policy changed",
            f"policy:{scope}",
            {"before": known.get(scope, {}), "after": dict(changes)},
        )


def _check_scope(scope: str) -> None:
    if scope != FLEET and not scope.startswith(("site:", "model:")):
        raise InvalidRequest(
            f"'{scope[:SCOPE_LENGTH]}' is not fleet, site:NAME or model:MAKER|MODEL"
        )
    if len(scope) > SCOPE_LENGTH:
        raise InvalidRequest("the scope is too long")


async def _check_version(connection: WriteConnection, scope: str, version: int) -> None:
    last = await audit.last_of(connection, f"policy:{scope}")
    if (last.id if last else 0) == version:
        return
    who, at = (last.who, last.at) if last else (None, None)
    raise ChangedMeanwhile("the policy", who, at)
