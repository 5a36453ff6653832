"""Routes of who may reach the collector: tokens and accounts."""

from http import HTTPStatus

from fadewatch_collector.api.enrolment_tokens import (
    EnrolmentTokens,
    NewEnrolmentToken,
    make_enrolment_token,
    revoke_enrolment_token,
    show_enrolment_tokens,
)
from fadewatch_collector.api.operators import (
    AddedOperator,
    KnownApiTokens,
    MadeToken,
    NewApiToken,
    NewOperator,
    OperatorAccounts,
    add_operator,
    disable_operator,
    enable_operator,
    make_api_token,
    revoke_api_token,
    show_api_tokens,
    show_operators,
    sign_operator_out,
)
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.route import Answered, Route, Sent

_DONE = Answered(
    description="It is done", status=HTTPStatus.NO_CONTENT, media_type=None
)
_MADE = Answered(
    description="The token: shown this once",
    model=MadeToken,
    status=HTTPStatus.CREATED,
)

ACCESS_ROUTES = (
    Route(
        method="GET",
        path="/enrolment-tokens",
        name="listEnrolmentTokens",
        summary="List enrolment tokens, without their secrets",
        handler=show_enrolment_tokens,
        role="administrator",
        answer=Answered(description="The tokens", model=EnrolmentTokens),
    ),
    Route(
        method="POST",
        path="/enrolment-tokens",
        name="makeEnrolmentToken",
        summary="Make an enrolment token",
        handler=make_enrolment_token,
        role="administrator",
        body=Sent(
            NewEnrolmentToken,
            {"label": "autumn imaging", "site": "Harbour", "days": 30, "uses": 200},
        ),
        answer=_MADE,
    ),
    Route(
        method="POST",
        path="/enrolment-tokens/{token_id}/revoke",
        name="revokeEnrolmentToken",
        summary="Revoke an enrolment token; enrolled laptops keep their keys",
        handler=revoke_enrolment_token,
        role="administrator",
        path_parameters=numbered("token_id"),
        answer=_DONE,
    ),
    Route(
        method="GET",
        path="/operators",
        name="listOperators",
        summary="List operators",
        handler=show_operators,
        role="administrator",
        answer=Answered(description="The operators", model=OperatorAccounts),
    ),
    Route(
        method="POST",
        path="/operators",
        name="addOperator",
        summary="Add an operator",
        handler=add_operator,
        role="administrator",
        body=Sent(
            NewOperator,
            {"name": "kim", "role": "technician", "password": "four quiet river 7s"},
        ),
        answer=Answered(
            description="The operator", model=AddedOperator, status=HTTPStatus.CREATED
        ),
        problems=(HTTPStatus.CONFLICT, HTTPStatus.TOO_MANY_REQUESTS),
    ),
    Route(
        method="POST",
        path="/operators/{operator_id}/disable",
        name="disableOperator",
        summary="Disable an operator: sessions and API tokens end at once",
        description="Nobody disables themselves.",
        handler=disable_operator,
        role="administrator",
        path_parameters=numbered("operator_id"),
        answer=_DONE,
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/operators/{operator_id}/sign-out",
        name="signOperatorOut",
        summary="End an operator's sessions and sign-in links at once",
        description="API tokens stay: revoke them one by one, or disable the operator.",
        handler=sign_operator_out,
        role="administrator",
        path_parameters=numbered("operator_id"),
        answer=_DONE,
    ),
    Route(
        method="POST",
        path="/operators/{operator_id}/enable",
        name="enableOperator",
        summary="Take a disabled operator back; API tokens stay out",
        handler=enable_operator,
        role="administrator",
        path_parameters=numbered("operator_id"),
        answer=_DONE,
    ),
    Route(
        method="POST",
        path="/operators/{operator_id}/api-tokens",
        name="makeApiToken",
        summary="Make an API token with which a program acts for an operator",
        handler=make_api_token,
        role="administrator",
        path_parameters=numbered("operator_id"),
        body=Sent(NewApiToken, {"label": "order script", "days": 365}),
        answer=_MADE,
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="GET",
        path="/api-tokens",
        name="listApiTokens",
        summary="List API tokens, without their secrets",
        handler=show_api_tokens,
        role="administrator",
        answer=Answered(description="The tokens", model=KnownApiTokens),
    ),
    Route(
        method="POST",
        path="/api-tokens/{token_id}/revoke",
        name="revokeApiToken",
        summary="Revoke an API token",
        handler=revoke_api_token,
        role="administrator",
        path_parameters=numbered("token_id"),
        answer=_DONE,
    ),
)
