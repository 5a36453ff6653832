"""The policy in force for each laptop, and changing it."""

from collections.abc import Mapping
from typing import Any

from fadewatch_collector.errors import InvalidRequest
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


async def change_policy(
    services: Services, scope: str, changes: Mapping[str, Any], operator: Operator
) -> None:
    """Set what differs in a scope; packs are assessed by it from now on.

    Raises
    ------
    InvalidRequest
        The scope or a value cannot be used; the message says which and why.
    """
    if scope != FLEET and not scope.startswith(("site:", "model:")):
        raise InvalidRequest(f"'{scope}' is not fleet, site:NAME or model:MAKER|MODEL")
    if len(scope) > SCOPE_LENGTH:
        raise InvalidRequest("the scope is too long")
    now = services.clock()
    async with services.store.writing() as connection:
        known = await rows.all_changes(connection)
        base = services.policy
        if scope != FLEET:
            base = policy_in_force(base, known, [FLEET])
        if problem := changes_problem(base, changes):
            raise InvalidRequest(problem)
        await rows.keep_changes(connection, scope, dict(changes), operator.name, now)
        await audit.note(
            connection,
            now,
            operator.name,
            "policy changed",
            f"policy:{scope}",
            {"before": known.get(scope, {}), "after": dict(changes)},
        )
