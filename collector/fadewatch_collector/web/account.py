"""One's own account: password, sessions, signing out everywhere."""

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest, NotFound, TooManyAttempts
from fadewatch_collector.usecases import accounts
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.keys import LIMITS, OPERATOR, SERVICES, SESSION
from fadewatch_collector.web.render import page
from fadewatch_collector.web.sessions import begin_session, end_session

ACCOUNT = "/account"
PASSWORD = ACCOUNT + "/password"
END = ACCOUNT + "/end"
EVERYWHERE = ACCOUNT + "/sign-out-everywhere"

_MAY = "change it"


async def show_account(request: web.Request) -> web.Response:
    """Show a person their own account."""
    require(request, "viewer", _MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services, operator = request.app[SERVICES], request[OPERATOR]
    return page(
        request,
        "account.html",
        status=problem.status,
        sessions=await accounts.sessions_of(services, operator, request[SESSION]),
        has_password=await accounts.has_password(services, operator),
        shortest=accounts.PASSWORD_LENGTH,
        idle_minutes=services.settings.session_idle_minutes,
        hours=services.settings.session_hours,
        problem=problem,
    )


async def change_password(request: web.Request) -> web.Response:
    """Change one's own password; all sessions end but a new one here."""
    act = await read_act(request, "viewer", _MAY)
    services = request.app[SERVICES]
    # A stolen session must not be able to guess the password either.
    wait = request.app[LIMITS].take_own(act.operator.id, services.clock().timestamp())
    if wait:
        raise TooManyAttempts("tries", wait)
    current, new = act.form.get("current", ""), act.form.get("password", "")
    try:
        await accounts.change_own_password(services, act.operator, current, new)
    except InvalidRequest as error:
        return await _show(request, refused("password", error, {}))
    answer = go_to(f"{ACCOUNT}?done=own-password-set")
    await begin_session(request, answer, act.operator, "password")
    return answer


async def end_one(request: web.Request) -> web.Response:
    """End one of one's own sessions."""
    act = await read_act(request, "viewer", _MAY)
    name = act.form.get("session", "")
    try:
        await accounts.end_own_session(request.app[SERVICES], act.operator, name)
    except NotFound as error:
        return await _show(request, refused("end", error, {}))
    return go_to(f"{ACCOUNT}?done=session-ended")


async def sign_out_everywhere(request: web.Request) -> web.Response:
    """End all of one's own sessions, this one too."""
    act = await read_act(request, "viewer", _MAY)
    await accounts.sign_out_everywhere(
        request.app[SERVICES],
        act.operator.name,
        tokens="tokens" in act.form,
        by=act.operator.name,
    )
    answer = go_to("/sign-in?done=signed-out-everywhere")
    await end_session(request, answer)
    return answer
