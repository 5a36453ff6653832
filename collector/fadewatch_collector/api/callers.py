"""Who calls: an agent by its key, a program by an operator's API token."""

import logging
import re
from typing import Literal, assert_never

from aiohttp import web

from fadewatch_collector.api.keys import (
    AGENT_KEY,
    LAPTOP_ID,
    OPERATOR,
    OPERATOR_BUCKETS,
    SERVICES,
)
from fadewatch_collector.errors import NotAllowed, NotSignedIn
from fadewatch_collector.rules.operators import Role, at_least
from fadewatch_collector.usecases.agent_keys import owner_of_key
from fadewatch_collector.usecases.api_tokens import operator_of_api_token

log = logging.getLogger(__name__)

Caller = Literal["anyone", "agent", "operator"]

# RFC 6750 section 2.1; the length is ours and far above that of any key given out.
_BEARER = re.compile(r"Bearer +([A-Za-z0-9._~+/-]{1,256}=*)", re.IGNORECASE)


async def let_in(request: web.Request, caller: Caller, role: Role) -> None:
    """Find out who calls and note it on the request.

    Parameters
    ----------
    role
        Least role of an operator.

    Raises
    ------
    NotSignedIn
        The key or token is missing, unknown, expired or of the other kind.
    NotAllowed
        The operator's role is less.
    TooManyAttempts
        The operator's programs ask too often.
    """
    match caller:
        case "anyone":
            return
        case "agent":
            key = agent_key(request)
            request[AGENT_KEY] = key
            owner = await owner_of_key(request.app[SERVICES], key)
            request[LAPTOP_ID] = owner.laptop_id
        case "operator":
            token = _secret(request, "send an API token as 'Bearer'")
            operator = await operator_of_api_token(request.app[SERVICES], token)
            if operator is None:
                log.warning("an API token that opens nothing was sent")
                raise NotSignedIn("the API token is unknown, revoked or expired")
            request.app[OPERATOR_BUCKETS].take(operator.id)
            if not at_least(operator.role, role):
                log.warning("operator %d is %s: refused", operator.id, operator.role)
                raise NotAllowed(f"do that: it takes the role {role}")
            request[OPERATOR] = operator
        case _:
            assert_never(caller)


def agent_key(request: web.Request) -> str:
    """Return the agent's key that a request shows, whatever it opens.

    Raises
    ------
    NotSignedIn
        It shows none.
    """
    return _secret(request, "send this laptop's key as 'Bearer'")


def _secret(request: web.Request, advice: str) -> str:
    sent = _BEARER.fullmatch(request.headers.get("Authorization", "").strip())
    if sent is None:
        raise NotSignedIn(advice)
    return sent[1]
