"""Routes of the bench check."""

from http import HTTPStatus

from fadewatch_collector.api.bench import (
    BenchCheckAnswer,
    BenchListQuery,
    BenchPage,
    BenchQuery,
    give_bench_figures,
    list_bench_checks,
    show_bench_check,
)
from fadewatch_collector.api.downloads import CSV_TYPE, send_issue_csv
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.route import Answered, Route
from fadewatch_common.bench.facts import BenchFigures

BENCH_ROUTES = (
    Route(
        method="GET",
        path="/laptops/{laptop_id}/bench-check",
        name="showBenchCheck",
        summary="Say whether a laptop may be issued",
        description="By the newest report, its packs' histories and the policy; the "
        "same rules as the agent's `bench`.",
        handler=show_bench_check,
        query=BenchQuery,
        path_parameters=numbered("laptop_id"),
        answer=Answered(description="The verdict", model=BenchCheckAnswer),
    ),
    Route(
        method="GET",
        path="/bench-checks",
        name="listBenchChecks",
        summary="List laptops with whether they may be issued",
        handler=list_bench_checks,
        query=BenchListQuery,
        answer=Answered(description="A part of the list", model=BenchPage),
    ),
    Route(
        method="GET",
        path="/bench-figures",
        name="giveBenchFigures",
        summary="Give a laptop's agent the figures for its bench check",
        description="Policy in force, the packs seen in its slots with their "
        "assessments, typical fade of their types, open alerts. Wear and fade are "
        "fractions of design here.",
        handler=give_bench_figures,
        caller="agent",
        answer=Answered(description="The figures", model=BenchFigures),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
    Route(
        method="GET",
        path="/exports/issue.csv",
        name="exportIssue",
        summary="Export whether each laptop may be issued",
        description="One row a laptop, for the policy's years of service. RFC 4180, "
        "UTF-8, with the same care for formulas as the fleet health CSV.",
        handler=send_issue_csv,
        answer=Answered(description="The verdicts", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
)
