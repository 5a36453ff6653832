"""The policy of the fleet, of sites and of laptop models."""

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest
from fadewatch_collector.rules.policy_scopes import FLEET, model_scope, site_scope
from fadewatch_collector.usecases import policies
from fadewatch_collector.usecases.settings_views import known_scopes, settings_trail
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_of
from fadewatch_collector.web.policy_fields import (
    POLICY_FIELDS,
    changes_in,
    scope_words,
    setting_label,
    setting_words,
)
from fadewatch_collector.web.render import page
from fadewatch_collector.web.trail import trail_lines

POLICY = "/settings/policy"
EDIT = POLICY + "/edit"

_MAY = "see or change the policy"


async def show_policies(request: web.Request) -> web.Response:
    """Show what is in force for the fleet, and what differs where."""
    require(request, "administrator", _MAY)
    services = request.app[SERVICES]
    known = await policies.list_changes(services)
    scopes = await known_scopes(services)
    named = [(site_scope(site), f"site {site}") for site in scopes.sites]
    named += [
        (model_scope(maker, model), scope_words(model_scope(maker, model)))
        for maker, model in scopes.models
    ]
    return page(
        request,
        "policy.html",
        fields=POLICY_FIELDS,
        default=services.policy,
        fleet=await policies.fleet_policy(services),
        changes=known,
        narrower=[scope for scope in known if scope != FLEET],
        choices=[choice for choice in named if choice[0] not in known],
        scope_words=scope_words,
        setting_label=setting_label,
        setting_words=setting_words,
        trail=trail_lines(await settings_trail(services, "policy"), named=True),
    )


async def show_edit(request: web.Request) -> web.Response:
    """Show the form for one scope."""
    require(request, "administrator", _MAY)
    return await _show_edit(request, request.query.get("scope", FLEET))


async def _show_edit(
    request: web.Request, scope: str, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services = request.app[SERVICES]
    present = await policies.policy_of_scope(services, scope)
    base = services.policy
    if scope != FLEET:
        base = await policies.fleet_policy(services)
    return page(
        request,
        "policy_edit.html",
        status=problem.status,
        scope=scope,
        scope_words=scope_words,
        present=present,
        base=base,
        fields=POLICY_FIELDS,
        problem=problem,
    )


async def change(request: web.Request) -> web.Response:
    """Set what differs in one scope."""
    act = await read_act(request, "administrator", _MAY)
    scope = act.form.get("scope", "")
    try:
        await policies.change_policy(
            request.app[SERVICES],
            scope,
            changes_in(act.form),
            act.operator,
            version=number_of(act.form, "version"),
        )
    except (InvalidRequest, Conflict) as error:
        return await _show_edit(request, scope, refused("policy", error, act.form))
    return go_to(f"{POLICY}?done=policy")
