"""Operator accounts: who may sign in, and what they may do."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.operators import PASSWORD_LENGTH, ROLES, Operator, Role
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.roles import set_role
from fadewatch_collector.usecases.settings_views import settings_trail
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Act,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.render import page
from fadewatch_collector.web.sessions import begin_session
from fadewatch_collector.web.trail import trail_lines

ACCOUNTS = "/settings/accounts"
ACCOUNT = ACCOUNTS + "/{operator_id}"
EVERYBODY = ACCOUNTS + "/sign-everybody-out"

_MAY = "see or change accounts"

_EVERY_DAY = frozenset({"signed in", "signed out", "session ended"})
"""Actions that would hide the others."""


async def show_accounts(request: web.Request) -> web.Response:
    """Show who may sign in."""
    require(request, "administrator", _MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED, of: int = 0
) -> web.Response:
    services = request.app[SERVICES]
    known = await accounts.list_operators(services)
    names = {f"operator:{one.operator.id}": one.operator.name for one in known}
    lines = await settings_trail(services, "operator")
    trail = trail_lines(
        [line for line in lines if line.action not in _EVERY_DAY],
        named=True,
        names=names,
    )
    return page(
        request,
        "accounts.html",
        status=problem.status,
        accounts=known,
        roles=ROLES,
        shortest=PASSWORD_LENGTH,
        trail=trail,
        problem=problem,
        problem_of=of,
    )


async def add_account(request: web.Request) -> web.Response:
    """Add an operator."""
    act = await read_act(request, "administrator", _MAY)
    try:
        await accounts.add_operator(
            request.app[SERVICES],
            act.form.get("name", ""),
            _role(act),
            act.form.get("password", ""),
            by=act.operator.name,
        )
    except (InvalidRequest, Conflict) as error:
        return await _show(request, refused("add", error, act.form))
    return go_to(f"{ACCOUNTS}?done=account-added")


async def sign_everybody_out(request: web.Request) -> web.Response:
    """End all sessions; the administrator goes on in a new one."""
    act = await read_act(request, "administrator", _MAY)
    await accounts.sign_everybody_out(request.app[SERVICES], by=act.operator.name)
    answer = go_to(f"{ACCOUNTS}?done=everybody-signed-out")
    await begin_session(request, answer, act.operator, "password")
    return answer


@dataclass(frozen=True, slots=True)
class AccountAct:
    """Something that is done with one account.

    Attributes
    ----------
    others_only
        Nobody does it to themselves, so that an administrator always remains.
    """

    name: str
    done: str
    do: Callable[[web.Request, Operator, Act], Awaitable[None]]
    others_only: bool = False

    async def __call__(self, request: web.Request) -> web.Response:
        """Do it, and show the accounts again."""
        number = number_in(request, "operator_id", "operator")
        act = await read_act(request, "administrator", _MAY)
        try:
            if self.others_only:
                _refuse_oneself(act, number)
            await self.do(request, await _operator(request, number), act)
        except (InvalidRequest, Conflict) as error:
            return await _show(request, refused(self.name, error, act.form), number)
        return go_to(f"{ACCOUNTS}?done={self.done}")


def _refuse_oneself(act: Act, number: int) -> None:
    if number == act.operator.id:
        raise Conflict("nobody does that to their own account")


async def _operator(request: web.Request, number: int) -> Operator:
    for account in await accounts.list_operators(request.app[SERVICES]):
        if account.operator.id == number:
            return account.operator
    raise NotFound("operator", number)


async def _set_role(request: web.Request, whose: Operator, act: Act) -> None:
    services = request.app[SERVICES]
    await set_role(services, whose.name, _role(act), by=act.operator.name)


async def _set_password(request: web.Request, whose: Operator, act: Act) -> None:
    password = act.form.get("password", "")
    services = request.app[SERVICES]
    await accounts.set_password(
        services,
        whose.name,
        password,
        tokens="tokens" in act.form,
        by=act.operator.name,
    )


async def _sign_out(request: web.Request, whose: Operator, act: Act) -> None:
    await accounts.sign_out_everywhere(
        request.app[SERVICES],
        whose.name,
        tokens="tokens" in act.form,
        by=act.operator.name,
    )


async def _disable(request: web.Request, whose: Operator, act: Act) -> None:
    services = request.app[SERVICES]
    await accounts.disable_operator(services, whose.name, by=act.operator.name)


async def _enable(request: web.Request, whose: Operator, act: Act) -> None:
    services = request.app[SERVICES]
    await accounts.enable_operator(services, whose.name, by=act.operator.name)


ACTS = (
    AccountAct("role", "role-set", _set_role, others_only=True),
    AccountAct("password", "password-set", _set_password, others_only=True),
    AccountAct("sign-out", "signed-out", _sign_out, others_only=True),
    AccountAct("disable", "account-disabled", _disable, others_only=True),
    AccountAct("enable", "account-enabled", _enable),
)


def _role(act: Act) -> Role:
    for role in ROLES:
        if role == act.form.get("role"):
            return role
    raise InvalidRequest("choose a role")
