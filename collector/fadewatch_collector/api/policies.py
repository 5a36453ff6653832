"""The policy of the fleet, of a site, of a laptop model."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Annotated, Any

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, WHOLE
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.queries import query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import percent
from fadewatch_collector.rules.policy_scopes import FLEET
from fadewatch_collector.usecases.policies import (
    SCOPE_LENGTH,
    ScopedPolicy,
    change_policy,
    list_changes,
    policy_of_scope,
)
from fadewatch_common.bounds import Between
from fadewatch_common.policy import Policy

_PERCENT = "_percent"
_FRACTIONS = frozenset(
    {"plan_wear", "replace_wear", "hysteresis_wear", "new_pack_wear"}
)
"""Settings that are fractions inside, and percent in the API like all wear."""

_SHOWN = r"[^\x00-\x1f\x7f-\x9f]"
_SCOPE = rf"^(fleet|site:{_SHOWN}+|model:{_SHOWN}*\|{_SHOWN}*)$"


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyQuery:
    """Whose policy: ``fleet``, ``site:NAME`` or ``model:MAKER|MODEL``."""

    __pydantic_config__ = NOTHING_ELSE

    scope: Annotated[
        str, StringConstraints(max_length=SCOPE_LENGTH, pattern=_SCOPE)
    ] = FLEET


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyChanges:
    """What differs from the broader policy; null or left out: nothing does."""

    __pydantic_config__ = NOTHING_ELSE

    plan_wear_percent: Annotated[float, Between(5, 90)] | None = None
    replace_wear_percent: Annotated[float, Between(5, 95)] | None = None
    hysteresis_wear_percent: Annotated[float, Between(0, 10)] | None = None
    service_years: Annotated[float, Between(0, 10)] | None = None
    new_pack_wear_percent: Annotated[float, Between(0, 30)] | None = None
    new_pack_cycles: Annotated[int, Between(0, 200), WHOLE] | None = None
    arrival_charge_percent: Annotated[int, Between(0, 100), WHOLE] | None = None
    silent_days: Annotated[int, Between(1, 365), WHOLE] | None = None
    least_memory_mib: Annotated[int, Between(0, 524_288), WHOLE] | None = None
    least_storage_gb: Annotated[int, Between(0, 100_000), WHOLE] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyInForce:
    """Every setting as it is in force."""

    plan_wear_percent: float
    replace_wear_percent: float
    hysteresis_wear_percent: float
    service_years: float
    new_pack_wear_percent: float
    new_pack_cycles: int
    arrival_charge_percent: int
    silent_days: int
    least_memory_mib: int
    least_storage_gb: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyOfScope:
    """The policy of one scope.

    Attributes
    ----------
    version
        Send it with a change; 0: it was never changed.
    """

    scope: str
    changes: PolicyChanges
    in_force: PolicyInForce
    version: int
    changed_at: datetime | None
    changed_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedScope:
    """A scope and what differs in it."""

    scope: str
    changes: PolicyChanges


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedScopes:
    """Every scope in which something differs from the default."""

    scopes: Sequence[ChangedScope]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPolicy:
    """All that differs in a scope from now on; what is left out differs no more."""

    __pydantic_config__ = NOTHING_ELSE

    version: Annotated[int, Between(0, 2**63 - 1), WHOLE]
    changes: PolicyChanges


_POLICY = TypeAdapter(PolicyOfScope)
_SCOPES = TypeAdapter(ChangedScopes)
_NEW_POLICY = TypeAdapter(NewPolicy)


async def show_policies(request: web.Request) -> web.Response:
    """Answer with the scopes in which something differs."""
    known = await list_changes(request.app[SERVICES])
    scopes = [ChangedScope(scope=s, changes=_changes(known[s])) for s in sorted(known)]
    return reply(_SCOPES, ChangedScopes(scopes=scopes))


async def show_policy(request: web.Request) -> web.Response:
    """Answer with the policy of one scope."""
    return await _answer(request)


async def put_policy(request: web.Request) -> web.Response:
    """Set what differs in a scope."""
    asked = await read_model(request, _NEW_POLICY, BODY_BYTES)
    await change_policy(
        request.app[SERVICES],
        query_of(request, PolicyQuery).scope,
        _kept(asked.changes),
        request[OPERATOR],
        version=asked.version,
    )
    return await _answer(request)


async def _answer(request: web.Request) -> web.Response:
    scope = query_of(request, PolicyQuery).scope
    return reply(_POLICY, _policy(await policy_of_scope(request.app[SERVICES], scope)))


def _policy(found: ScopedPolicy) -> PolicyOfScope:
    return PolicyOfScope(
        scope=found.scope,
        changes=_changes(found.changes),
        in_force=PolicyInForce(**_worded(asdict(found.in_force))),
        version=found.version,
        changed_at=found.changed_at,
        changed_by=found.changed_by,
    )


def _changes(kept: Mapping[str, Any]) -> PolicyChanges:
    return PolicyChanges(**_worded(kept))


def _worded(kept: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name + _PERCENT if name in _FRACTIONS else name: percent(value)
        if name in _FRACTIONS
        else value
        for name, value in kept.items()
    }


def _kept(changes: PolicyChanges) -> dict[str, Any]:
    names = {
        field.name + _PERCENT if field.name in _FRACTIONS else field.name: field.name
        for field in fields(Policy)
    }
    return {
        names[name]: value / 100 if names[name] in _FRACTIONS else value
        for name, value in asdict(changes).items()
        if value is not None
    }
