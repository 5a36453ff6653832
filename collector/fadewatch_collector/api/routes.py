"""The table of routes: everything the API can be asked."""

from http import HTTPStatus

from fadewatch_collector.api.answers import (
    AlertPage,
    EnrolledLaptop,
    LaptopDetails,
    LaptopPage,
    ReportResults,
)
from fadewatch_collector.api.description import show_description
from fadewatch_collector.api.downloads import CSV_TYPE, send_fleet_csv
from fadewatch_collector.api.enrolment import enrol_laptop
from fadewatch_collector.api.lists import (
    LARGEST_ID,
    list_alerts,
    list_laptops,
    show_laptop,
)
from fadewatch_collector.api.queries import AlertQuery, LaptopQuery
from fadewatch_collector.api.reports import take_reports
from fadewatch_collector.api.requests import (
    ENROLMENT_EXAMPLE,
    EXAMPLE_REPORT,
    REPORT_BATCH_EXAMPLE,
    Enrolment,
    ReportBatch,
)
from fadewatch_collector.api.route import Answered, Route, Sent

_BODY_PROBLEMS = (
    HTTPStatus.REQUEST_TIMEOUT,
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    HTTPStatus.TOO_MANY_REQUESTS,
)

ROUTES = (
    Route(
        method="POST",
        path="/reports",
        name="takeReports",
        summary="Deliver reports of one laptop",
        description="At most 500 reports and 4 MiB, packed with gzip or not. Each "
        "report is checked alone: one that breaks its bounds is answered `rejected` "
        "and the others are stored. `stored` means durable. The same `report_id` again "
        "is answered `duplicate` and changes nothing.",
        handler=take_reports,
        caller="agent",
        body=Sent(ReportBatch, REPORT_BATCH_EXAMPLE),
        answer=Answered(
            description="One result for each report, in the order sent",
            model=ReportResults,
            example={
                "results": [{"report_id": EXAMPLE_REPORT.report_id, "status": "stored"}]
            },
        ),
        problems=_BODY_PROBLEMS,
    ),
    Route(
        method="POST",
        path="/enrol",
        name="enrolLaptop",
        summary="Turn an enrolment token into a laptop's own key",
        description="The key writes reports of its own laptop and opens nothing else.",
        handler=enrol_laptop,
        caller="anyone",
        body=Sent(Enrolment, ENROLMENT_EXAMPLE),
        answer=Answered(
            description="The laptop's number and its key",
            model=EnrolledLaptop,
            status=HTTPStatus.CREATED,
            example={"laptop_id": 417, "key": "fwk_keep-this-one-secret"},
        ),
        problems=(*_BODY_PROBLEMS, HTTPStatus.FORBIDDEN),
    ),
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
        path="/laptops",
        name="listLaptops",
        summary="List laptops with the packs they carry",
        handler=list_laptops,
        query=LaptopQuery,
        answer=Answered(description="A part of the list", model=LaptopPage),
    ),
    Route(
        method="GET",
        path="/laptops/{laptop_id}",
        name="showLaptop",
        summary="Show one laptop: packs, daily values, alerts and changes",
        handler=show_laptop,
        path_parameters={
            "laptop_id": {"type": "integer", "minimum": 1, "maximum": LARGEST_ID}
        },
        answer=Answered(description="The laptop", model=LaptopDetails),
        problems=(HTTPStatus.NOT_FOUND,),
    ),
    Route(
        method="GET",
        path="/exports/fleet.csv",
        name="exportFleet",
        summary="Export the fleet health CSV",
        description="One row a pack; a laptop without a pack has one row. RFC 4180, "
        "UTF-8. Text that a spreadsheet could run as a formula begins with an "
        "apostrophe. If the connection ends without the last chunk, the file is not "
        "whole.",
        handler=send_fleet_csv,
        answer=Answered(description="The fleet", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
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
