"""Routes of the fleet as a whole: shares, what is coming, held forecasts, types."""

from http import HTTPStatus

from fadewatch_collector.api.downloads import CSV_TYPE, fleet_file_sender
from fadewatch_collector.api.fleet import (
    show_held,
    show_months,
    show_quarter,
    show_shares,
    show_types,
)
from fadewatch_collector.api.fleet_answers import (
    ComparedTypes,
    FleetMonths,
    FleetQuarter,
    FleetShares,
    HeldForecasts,
)
from fadewatch_collector.api.route import Answered, Route
from fadewatch_collector.usecases.fleet_csv import FLEET_FILE_WORDS, FLEET_FILES

WHOLE_FLEET_ROUTES = (
    Route(
        method="GET",
        path="/fleet/shares",
        name="showFleetShares",
        summary="Show shares of packs by band, and by site, age and pack type",
        description="As of a moment of the last hour, as all of the fleet view.",
        handler=show_shares,
        answer=Answered(description="The shares", model=FleetShares),
    ),
    Route(
        method="GET",
        path="/fleet/months",
        name="showFleetMonths",
        summary="Show how many packs are expected to pass each threshold, by month",
        description="Means and 80 % ranges for two years. Packs past a threshold already "
        "are not in them.",
        handler=show_months,
        answer=Answered(description="The months", model=FleetMonths),
    ),
    Route(
        method="GET",
        path="/fleet/quarter",
        name="showFleetQuarter",
        summary="Show what sites and types come to by the end of the quarter",
        handler=show_quarter,
        answer=Answered(description="Sites and types", model=FleetQuarter),
    ),
    Route(
        method="GET",
        path="/fleet/held-forecasts",
        name="showHeldForecasts",
        summary="Show how well past forecasts held",
        handler=show_held,
        answer=Answered(description="By threshold and lead time", model=HeldForecasts),
    ),
    Route(
        method="GET",
        path="/fleet/types",
        name="showComparedTypes",
        summary="Show pack types and batches that fade unlike the others",
        handler=show_types,
        answer=Answered(description="Types and batches", model=ComparedTypes),
    ),
    *(
        Route(
            method="GET",
            path=f"/exports/{name}.csv",
            name=f"export{name.title().replace('-', '')}",
            summary=f"Export {FLEET_FILE_WORDS[name]} as CSV",
            description="RFC 4180, UTF-8. Its first column is the day the figures are of.",
            handler=fleet_file_sender(name),
            answer=Answered(description="The file", media_type=CSV_TYPE),
            problems=(HTTPStatus.TOO_MANY_REQUESTS,),
        )
        for name in FLEET_FILES
    ),
)
