"""The table of routes: everything the API can be asked."""

from fadewatch_collector.api.description import show_description
from fadewatch_collector.api.route import Answered, Route
from fadewatch_collector.api.table.access import ACCESS_ROUTES
from fadewatch_collector.api.table.agents import AGENT_ROUTES
from fadewatch_collector.api.table.alerts import ALERT_ROUTES
from fadewatch_collector.api.table.bench import BENCH_ROUTES
from fadewatch_collector.api.table.charging import CHARGING_ROUTES
from fadewatch_collector.api.table.fleet import FLEET_ROUTES
from fadewatch_collector.api.table.forget import FORGET_ROUTES
from fadewatch_collector.api.table.notifications import NOTIFICATION_ROUTES
from fadewatch_collector.api.table.order import ORDER_ROUTES
from fadewatch_collector.api.table.packs import PACK_ROUTES
from fadewatch_collector.api.table.places import PLACE_ROUTES
from fadewatch_collector.api.table.visits import VISIT_ROUTES
from fadewatch_collector.api.table.whole_fleet import WHOLE_FLEET_ROUTES

ROUTES: tuple[Route, ...] = (
    *FLEET_ROUTES,
    *BENCH_ROUTES,
    *AGENT_ROUTES,
    *WHOLE_FLEET_ROUTES,
    *ALERT_ROUTES,
    *PACK_ROUTES,
    *CHARGING_ROUTES,
    *ORDER_ROUTES,
    *PLACE_ROUTES,
    *VISIT_ROUTES,
    *ACCESS_ROUTES,
    *NOTIFICATION_ROUTES,
    *FORGET_ROUTES,
    Route(
        method="GET",
        path="/openapi.json",
        name="describe",
        summary="Describe this API",
        handler=show_description,
        caller="anyone",
        answer=Answered(description="OpenAPI 3.1", model=dict),
    ),
)
