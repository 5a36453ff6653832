"""Routes of visits."""

from http import HTTPStatus

from fadewatch_collector.api.downloads import CSV_TYPE, send_visits_csv
from fadewatch_collector.api.due import DuePage, DueQuery, show_due
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.queries import HorizonQuery
from fadewatch_collector.api.route import Answered, Route, Sent
from fadewatch_collector.api.visits import (
    PlannedVisits,
    RoundPlan,
    UnplannedVisit,
    Visit,
    VisitCalledOff,
    VisitDone,
    VisitMove,
    VisitPage,
    VisitPlan,
    VisitQuery,
    call_visit_off,
    finish_visit,
    move_visit,
    plan_round,
    plan_visits,
    record_visit,
    show_visit,
    show_visits,
)

VISIT_ROUTES = (
    Route(
        method="GET",
        path="/visits",
        name="listVisits",
        summary="List visits planned, done and called off, the newest first",
        handler=show_visits,
        query=VisitQuery,
        answer=Answered(description="A part of the list", model=VisitPage),
    ),
    Route(
        method="GET",
        path="/visits/due",
        name="listDueLaptops",
        summary="List laptops to go to, with what to do and bring there",
        description="Worked out from assessments, open alerts and planned visits. "
        "Laptops to stop using come first: they are not opened on a round.",
        handler=show_due,
        query=DueQuery,
        answer=Answered(description="A part of the list", model=DuePage),
    ),
    Route(
        method="POST",
        path="/visits",
        name="planVisits",
        summary="Plan a visit at each of some laptops, all or none",
        description="Open alerts of the laptops are marked as planned for that day "
        "unless `with_alerts` is false; what says stop use stays as it is.",
        handler=plan_visits,
        role="technician",
        body=Sent(VisitPlan, {"laptop_ids": [4, 17], "on": "2030-05-31"}),
        answer=Answered(
            description="The visits", model=PlannedVisits, status=HTTPStatus.CREATED
        ),
        problems=(HTTPStatus.CONFLICT, HTTPStatus.NOT_FOUND),
    ),
    Route(
        method="POST",
        path="/visit-rounds",
        name="planRound",
        summary="Plan one day for everything due at a site",
        description="Laptops to stop using are left out, and those that have not "
        "reported since their last visit. No site (null) is those without one.",
        handler=plan_round,
        role="technician",
        body=Sent(RoundPlan, {"site": "Harbour", "on": "2030-05-31"}),
        answer=Answered(
            description="The visits", model=PlannedVisits, status=HTTPStatus.CREATED
        ),
        problems=(HTTPStatus.CONFLICT, HTTPStatus.NOT_FOUND),
    ),
    Route(
        method="GET",
        path="/visits/{visit_id}",
        name="showVisit",
        summary="Show one visit",
        handler=show_visit,
        path_parameters=numbered("visit_id"),
        answer=Answered(description="The visit", model=Visit),
    ),
    Route(
        method="POST",
        path="/visits/{visit_id}/move",
        name="moveVisit",
        summary="Set another day, person or note of a planned visit",
        handler=move_visit,
        role="technician",
        path_parameters=numbered("visit_id"),
        body=Sent(VisitMove, {"version": 1, "on": "2030-06-03"}),
        answer=Answered(description="The visit as it is now", model=Visit),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/visits/{visit_id}/done",
        name="finishVisit",
        summary="Mark a planned visit done",
        description="Alerts do not end by it: the next readings confirm what was done.",
        handler=finish_visit,
        role="technician",
        path_parameters=numbered("visit_id"),
        body=Sent(VisitDone, {"version": 1, "work": ["pack", "cleaned", "hinges"]}),
        answer=Answered(description="The visit as it is now", model=Visit),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/visits/{visit_id}/call-off",
        name="callVisitOff",
        summary="Call a planned visit off",
        handler=call_visit_off,
        role="technician",
        path_parameters=numbered("visit_id"),
        body=Sent(VisitCalledOff, {"version": 1, "because": "laptop was retired"}),
        answer=Answered(description="The visit as it is now", model=Visit),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/visits",
        name="recordVisit",
        summary="Keep a visit that nobody had planned",
        handler=record_visit,
        role="technician",
        path_parameters=numbered("laptop_id"),
        body=Sent(UnplannedVisit, {"work": ["nothing"]}),
        answer=Answered(
            description="The visit", model=Visit, status=HTTPStatus.CREATED
        ),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="GET",
        path="/exports/visits.csv",
        name="exportVisits",
        summary="Export visits as CSV: due and planned, then done and called off",
        description="Written like the fleet health CSV.",
        handler=send_visits_csv,
        query=HorizonQuery,
        answer=Answered(description="The visits", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
)
