"""Routes of forgetting, and of what is held about one laptop."""

from http import HTTPStatus

from fadewatch_collector.api.forget import (
    ForgetQuery,
    ForgottenAnswer,
    HolderName,
    forget_holder,
    forget_laptop,
    send_laptop,
)
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.route import Answered, Route, Sent

_TOLD = Answered(description="What went, or would", model=ForgottenAnswer)

FORGET_ROUTES = (
    Route(
        method="GET",
        path="/laptops/{laptop_id}/export",
        name="exportLaptop",
        summary="Everything that is held about one laptop",
        description="The rows of every table that point to the laptop or tell of it, "
        "and of its packs while they were in it. Digests of keys are left out.",
        handler=send_laptop,
        role="administrator",
        path_parameters=numbered("laptop_id"),
        answer=Answered(description="One object, streamed", model=dict),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/forget",
        name="forgetLaptop",
        summary="Delete what is held about a laptop; it cannot be undone",
        description="Ask with `dry_run` first. The ageing of its packs stays, without "
        "the laptop. Refused while an alert tells to stop using it.",
        handler=forget_laptop,
        role="administrator",
        query=ForgetQuery,
        path_parameters=numbered("laptop_id"),
        answer=_TOLD,
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/holders/forget",
        name="forgetHolder",
        summary="Blank a holder's name wherever it stands; it cannot be undone",
        description="Ask with `dry_run` first. Accounts of operators stay, and so does "
        "what laptops report of themselves.",
        handler=forget_holder,
        role="administrator",
        query=ForgetQuery,
        body=Sent(HolderName, {"name": "Desk 12"}),
        answer=_TOLD,
        problems=(HTTPStatus.NOT_FOUND,),
    ),
)
