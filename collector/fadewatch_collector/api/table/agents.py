"""Routes of the agents' keys."""

from http import HTTPStatus

from fadewatch_collector.api.agent_keys import (
    ask_renewal,
    renew_key,
    revoke_key,
    show_agents,
)
from fadewatch_collector.api.answers import AgentOverview, RenewedKey
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.queries import PartQuery
from fadewatch_collector.api.route import Answered, Route

_DONE = Answered(
    description="It is done", status=HTTPStatus.NO_CONTENT, media_type=None
)

AGENT_ROUTES = (
    Route(
        method="GET",
        path="/agents",
        name="listAgents",
        summary="Versions of the agents, and laptops that never reported",
        handler=show_agents,
        query=PartQuery,
        answer=Answered(
            description="All versions, and a part of the laptops", model=AgentOverview
        ),
    ),
    Route(
        method="POST",
        path="/key",
        name="renewKey",
        summary="Renew the key of the laptop that asks",
        description="The old key is valid until the new one is used for the first "
        "time, so that a lost answer locks nobody out.",
        handler=renew_key,
        caller="agent",
        answer=Answered(
            description="The new key: shown this once",
            model=RenewedKey,
            status=HTTPStatus.CREATED,
        ),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/key/renewal",
        name="askForKeyRenewal",
        summary="Let a laptop renew its key with its next report",
        handler=ask_renewal,
        role="administrator",
        path_parameters=numbered("laptop_id"),
        answer=_DONE,
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/key/revoke",
        name="revokeKey",
        summary="End a laptop's key: it must enrol again with a new token",
        handler=revoke_key,
        role="administrator",
        path_parameters=numbered("laptop_id"),
        answer=_DONE,
    ),
)
