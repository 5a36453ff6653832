"""Routes of how packs are charged."""

from http import HTTPStatus

from fadewatch_collector.api.charging import (
    ChargingPage,
    ChargingQuery,
    PackChargingDetails,
    list_charging,
    show_pack_charging,
)
from fadewatch_collector.api.downloads import CSV_TYPE, send_charging_csv
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.route import Answered, Route

CHARGING_ROUTES = (
    Route(
        method="GET",
        path="/charging-habits",
        name="listChargingHabits",
        summary="List packs of which a charge limit is worth considering",
        description="The greatest share of readings near full on mains first; with "
        "`advised=false` every pack that sits in a laptop. Told once a night: see "
        "`as_of`. Laptops are read only while they are switched on, so shares are of "
        "readings, not of hours.",
        handler=list_charging,
        query=ChargingQuery,
        answer=Answered(description="A part of the list", model=ChargingPage),
    ),
    Route(
        method="GET",
        path="/packs/{pack_id}/charging",
        name="showPackCharging",
        summary="Show how one pack is charged, by what is known now",
        handler=show_pack_charging,
        path_parameters=numbered("pack_id"),
        answer=Answered(
            description="Its habit and its days", model=PackChargingDetails
        ),
    ),
    Route(
        method="GET",
        path="/exports/charging.csv",
        name="exportCharging",
        summary="Export how packs are charged as CSV",
        description="One row a pack that sits in a laptop and was read in the last 90 "
        "days, as told last night. Written like the fleet health CSV.",
        handler=send_charging_csv,
        answer=Answered(description="The habits", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
)
