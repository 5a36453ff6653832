"""Routes of agents, and of what is known of the fleet."""

from http import HTTPStatus

from fadewatch_collector.api.answers import (
    EnrolledLaptop,
    LaptopDetails,
    LaptopPage,
    ReportResults,
    Trail,
)
from fadewatch_collector.api.downloads import CSV_TYPE, send_fleet_csv
from fadewatch_collector.api.enrolment import enrol_laptop
from fadewatch_collector.api.lists import list_laptops, show_laptop
from fadewatch_collector.api.packs import show_laptop_trail
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.queries import LaptopQuery
from fadewatch_collector.api.reports import take_reports
from fadewatch_collector.api.requests import (
    ENROLMENT_EXAMPLE,
    EXAMPLE_REPORT,
    REPORT_BATCH_EXAMPLE,
    Enrolment,
    ReportBatch,
)
from fadewatch_collector.api.route import Answered, Route, Sent

FLEET_ROUTES = (
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
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
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
        problems=(HTTPStatus.TOO_MANY_REQUESTS, HTTPStatus.FORBIDDEN),
    ),
    Route(
        method="GET",
        path="/laptops",
        name="listLaptops",
        summary="List laptops with the packs they carry",
        description="`find` takes the beginnings of an asset tag, serial, host name, "
        "holder or pack serial, or the last three or more characters of one; a laptop "
        "must match every word.",
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
        path_parameters=numbered("laptop_id"),
        answer=Answered(description="The laptop", model=LaptopDetails),
    ),
    Route(
        method="GET",
        path="/laptops/{laptop_id}/trail",
        name="showLaptopTrail",
        summary="Show who did what about a laptop and its alerts",
        handler=show_laptop_trail,
        path_parameters=numbered("laptop_id"),
        answer=Answered(description="The newest lines, newest first", model=Trail),
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
)
