"""Signing in and out through the organisation's identity provider.

Nothing is kept between the way there and back but a signed cookie: it binds the answer
to the browser that asked. What proves our side at the provider (the nonce and the
verifier of RFC 7636) is worked out from the state and the store's own secret, so that
every collector on one store can take the answer.
"""

import hmac
import logging
import re
import secrets
from urllib.parse import quote, unquote

from aiohttp import web

from fadewatch_collector.edge.asked import client_address
from fadewatch_collector.errors import NotSignedIn, TooManyAttempts
from fadewatch_collector.usecases import organisation
from fadewatch_collector.web.keys import LIMITS, PROVIDER, SERVICES, SIGNING
from fadewatch_collector.web.problems import problem_page
from fadewatch_collector.web.sessions import (
    FLOW_S,
    VISIT_BYTES,
    end_flow,
    flow_of,
    keep_flow,
)
from fadewatch_collector.web.sign_in import (
    ORGANISATION,
    SIGN_IN,
    SIGN_OUT_THERE,
    go_on,
    own_path,
)

__all__ = ["BACK", "ORGANISATION", "SIGN_OUT_THERE", "begin", "come_back", "leave"]

BACK = organisation.BACK_PATH

_ERROR = re.compile(r"[a-z_]{1,40}", re.ASCII)
_LONGEST_CODE = 4096
_LONGEST_PATH = 1000
"""Longest way to the page wanted [characters]: a cookie holds 4096. Own choice."""
_ANOTHER = "this sign-in was not begun in this browser, or too long ago; begin it again"

_log = logging.getLogger(__name__)


async def begin(request: web.Request) -> web.Response:
    """Send the browser to the provider."""
    provider = _provider(request)
    if request.headers.get("Sec-Fetch-Site", "none") not in {"same-origin", "none"}:
        # Another site must not make somebody sign in without their doing.
        raise web.HTTPSeeOther(SIGN_IN)
    _limit(request)
    state = secrets.token_urlsafe(VISIT_BYTES)
    address = await provider.sign_in_address(state=state, **_secrets(request, state))
    until = int(request.app[SERVICES].clock().timestamp()) + FLOW_S
    wanted = own_path(request.query.get("next"))
    if len(wanted) > _LONGEST_PATH:
        wanted = "/"
    answer = web.Response(status=303, headers={"Location": address})
    keep_flow(request, answer, f"{state}.{until}.{quote(wanted)}")
    return answer


async def come_back(request: web.Request) -> web.Response:
    """Take the provider's answer, and open a session."""
    try:
        wanted = await _taken(request)
    except NotSignedIn as error:
        refused = problem_page(request, error)
        end_flow(request, refused)
        return refused
    return wanted


async def leave(request: web.Request) -> web.Response:
    """Send the browser to the provider to sign out there too."""
    back = request.app[SERVICES].settings.pages_url + SIGN_IN
    address = await _provider(request).sign_out_address(back)
    raise web.HTTPSeeOther(address or SIGN_IN)


async def _taken(request: web.Request) -> web.Response:
    provider, query = _provider(request), request.query
    state, wanted = _own_flow(request)
    # RFC 9207: an answer that says whose it is must be the issuer's.
    if query.get("iss", provider.settings.issuer) != provider.settings.issuer:
        raise NotSignedIn(_ANOTHER)
    code = query.get("code", "")
    if not code or len(code) > _LONGEST_CODE:
        error = query.get("error", "")
        said = error if _ERROR.fullmatch(error) else "no code came"
        _log.warning("the organisation's provider let nobody in: %s", said)
        raise NotSignedIn(f"your organisation did not let you in ({said})")
    claims = await provider.claims_of(code, **_secrets(request, state))
    operator = await organisation.operator_of(request.app[SERVICES], claims)
    answer = await go_on(request, operator, wanted, "organisation")
    end_flow(request, answer)
    return answer


def _own_flow(request: web.Request) -> tuple[str, str]:
    """Return the state and the page wanted, of a sign-in that this browser began."""
    state, _, rest = (flow_of(request) or "").partition(".")
    until, _, wanted = rest.partition(".")
    sent = request.query.get("state", "")
    is_ours = bool(state) and hmac.compare_digest(sent.encode(), state.encode())
    now = request.app[SERVICES].clock().timestamp()
    if not is_ours or int(until) < now:
        raise NotSignedIn(_ANOTHER)
    return state, own_path(unquote(wanted))


def _secrets(request: web.Request, state: str) -> dict[str, str]:
    signing = request.app[SIGNING]
    return {
        "nonce": signing.derived("nonce", state),
        "verifier": signing.derived("verifier", state),
    }


def _provider(request: web.Request) -> organisation.IdentityProvider:
    provider = request.app[PROVIDER]
    if provider is None:
        raise web.HTTPNotFound
    return provider


def _limit(request: web.Request) -> None:
    now = request.app[SERVICES].clock().timestamp()
    wait = request.app[LIMITS].take_address(client_address(request), now)
    if wait:
        raise TooManyAttempts("tries to sign in", wait)
