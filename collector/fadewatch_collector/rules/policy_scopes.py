"""Which policy is in force: the fleet's, a site's, a laptop model's."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from fadewatch_common.policy import Policy

FLEET = "fleet"

LIMITS: Mapping[str, tuple[float, float]] = {
    "plan_wear": (0.05, 0.90),
    "replace_wear": (0.05, 0.95),
    "hysteresis_wear": (0.0, 0.10),
    "service_years": (0.0, 10.0),
    "new_pack_wear": (0.0, 0.30),
    "new_pack_cycles": (0, 200),
    "arrival_charge_percent": (0, 100),
    "silent_days": (1, 365),
    "least_memory_mib": (0, 524_288),
    "least_storage_gb": (0, 100_000),
}
"""Least and greatest value of each setting.

In fractions, years, counts, percent, days, MiB and GB (10^9 bytes).

Own choice: wide enough for every practice we know of, narrow enough to catch a typing
error such as 30 for 0.30.
"""

WHOLE = frozenset(
    {
        "new_pack_cycles",
        "arrival_charge_percent",
        "silent_days",
        "least_memory_mib",
        "least_storage_gb",
    }
)


def site_scope(site: str) -> str:
    """Return the name of a site's policy."""
    return f"site:{site}"


def model_scope(maker: str | None, model: str | None) -> str:
    """Return the name of a laptop model's policy."""
    return f"model:{maker or ''}|{model or ''}"


def scopes_of(site: str | None, maker: str | None, model: str | None) -> list[str]:
    """Return the scopes that apply to a laptop, the narrowest last."""
    scopes = [FLEET]
    if site:
        scopes.append(site_scope(site))
    if maker or model:
        scopes.append(model_scope(maker, model))
    return scopes


def policy_in_force(
    default: Policy, changes: Mapping[str, Mapping[str, Any]], scopes: list[str]
) -> Policy:
    """Lay the changes of each scope over the default, the narrowest last.

    Changes that contradict each other once laid over one another (a site's plan
    threshold above the fleet's replace threshold) leave out the narrower one.
    """
    policy = default
    for scope in scopes:
        if scope in changes:
            changed = replace(policy, **changes[scope])
            policy = policy if contradiction(changed) else changed
    return policy


def changes_problem(default: Policy, changes: Mapping[str, Any]) -> str | None:
    """Say what is wrong with changes to a policy; None when they can be kept."""
    names = {field.name for field in fields(Policy)}
    for name, value in changes.items():
        if name not in names:
            return f"there is no setting {name}; they are {', '.join(sorted(names))}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            return f"{name} is not a number"
        low, high = LIMITS[name]
        if not low <= value <= high:
            return f"{name} is {value:g}; it goes from {low:g} to {high:g}"
        if name in WHOLE and value != int(value):
            return f"{name} is {value:g}; it must be a whole number"
    return contradiction(replace(default, **changes))


def contradiction(policy: Policy) -> str | None:
    """Say which settings contradict each other; None when none do."""
    if policy.replace_wear <= policy.plan_wear:
        return (
            f"the replace threshold ({100 * policy.replace_wear:.0f} %) must be above "
            f"the plan threshold ({100 * policy.plan_wear:.0f} %)"
        )
    # To the thousandth: 0.40 - 0.30 is a little more than 0.10 in binary.
    gap = round(policy.replace_wear - policy.plan_wear, 3)
    if policy.hysteresis_wear >= gap:
        return "the hysteresis must be smaller than the gap between the thresholds"
    return None
