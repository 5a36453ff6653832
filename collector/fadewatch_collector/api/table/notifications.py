"""Routes of notification routes: where messages of alerts go."""

from http import HTTPStatus

from fadewatch_collector.api.notification_routes import (
    EndedRoute,
    MadeRoute,
    NewRoute,
    NotificationRoutes,
    RouteTrial,
    add_route,
    send_trial,
    show_routes,
    stop_route,
)
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.route import Answered, Route, Sent

NOTIFICATION_ROUTES = (
    Route(
        method="GET",
        path="/notification-routes",
        name="listNotificationRoutes",
        summary="List the routes that messages of alerts take, without secrets",
        handler=show_routes,
        role="administrator",
        answer=Answered(description="The routes", model=NotificationRoutes),
    ),
    Route(
        method="POST",
        path="/notification-routes",
        name="makeNotificationRoute",
        summary="Make a route for mail or a webhook",
        description="It tells of what opens from now on. The secret that signs a "
        "webhook is shown in this answer and never again.",
        handler=add_route,
        role="administrator",
        body=Sent(
            NewRoute,
            {
                "label": "desk",
                "channel": "mail",
                "target": "desk@collector.example",
                "urgencies": ["stop-use", "act"],
                "quiet": {"begin": "19:00", "end": "06:30"},
            },
        ),
        answer=Answered(
            description="The route", model=MadeRoute, status=HTTPStatus.CREATED
        ),
    ),
    Route(
        method="POST",
        path="/notification-routes/{route_id}/end",
        name="endNotificationRoute",
        summary="End a route; what waited for it is not sent",
        handler=stop_route,
        role="administrator",
        path_parameters=numbered("route_id"),
        answer=Answered(description="How many were dropped", model=EndedRoute),
    ),
    Route(
        method="POST",
        path="/notification-routes/{route_id}/test",
        name="testNotificationRoute",
        summary="Send a test message through a route, now",
        handler=send_trial,
        role="administrator",
        path_parameters=numbered("route_id"),
        answer=Answered(description="Whether it was taken", model=RouteTrial),
    ),
)
