"""Routes of alerts: look at them, and do something about them."""

from http import HTTPStatus

from fadewatch_collector.api.alert_actions import (
    Acknowledgement,
    AlertEnd,
    AlertHandOver,
    AlertNote,
    PlannedDay,
    acknowledge_alert,
    end_alert,
    hand_alert_over,
    note_alert,
    plan_alert,
    show_alert,
)
from fadewatch_collector.api.answers import AlertDetails, AlertPage
from fadewatch_collector.api.lists import list_alerts
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.queries import AlertQuery
from fadewatch_collector.api.route import Answered, Handler, Route, Sent


def _action(
    word: str,
    name: str,
    summary: str,
    handler: Handler,
    body: Sent,
    description: str = "",
) -> Route:
    return Route(
        method="POST",
        path=f"/alerts/{{alert_id}}/{word}",
        name=name,
        summary=summary,
        handler=handler,
        role="technician",
        path_parameters=numbered("alert_id"),
        body=body,
        answer=Answered(description="The alert as it is now", model=AlertDetails),
        problems=(HTTPStatus.CONFLICT,),
        description=description,
    )


ALERT_ROUTES = (
    Route(
        method="GET",
        path="/alerts",
        name="listAlerts",
        summary="List alerts, most urgent first, then oldest",
        description="Without `state`: every alert that is not ended.",
        handler=list_alerts,
        query=AlertQuery,
        answer=Answered(description="A part of the list", model=AlertPage),
    ),
    Route(
        method="GET",
        path="/alerts/{alert_id}",
        name="showAlert",
        summary="Show one alert with its trail",
        handler=show_alert,
        path_parameters=numbered("alert_id"),
        answer=Answered(description="The alert", model=AlertDetails),
    ),
    _action(
        "acknowledge",
        "acknowledgeAlert",
        "Say that an alert was seen and is being dealt with",
        acknowledge_alert,
        Sent(Acknowledgement, {"version": 1}),
    ),
    _action(
        "plan",
        "planAlert",
        "Set the day on which an alert will be dealt with",
        plan_alert,
        Sent(PlannedDay, {"version": 1, "on": "2026-12-14"}),
        description="A day that is past is refused.",
    ),
    _action(
        "hand-over",
        "handAlertOver",
        "Hand an alert over to an operator",
        hand_alert_over,
        Sent(AlertHandOver, {"version": 2, "to": "kim"}),
        description="The operator must be one who can sign in.",
    ),
    _action(
        "note",
        "noteAlert",
        "Add a note to an alert",
        note_alert,
        Sent(AlertNote, {"text": "The holder is away until Monday."}),
    ),
    _action(
        "end",
        "endAlert",
        "End an alert by hand, with the reason",
        end_alert,
        Sent(AlertEnd, {"version": 3, "because": "The laptop was retired."}),
        description="It rests for 30 days, unless its cause becomes more urgent.",
    ),
)
