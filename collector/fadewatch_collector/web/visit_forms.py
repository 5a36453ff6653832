"""The forms of visits: what is planned, what was done."""

from collections.abc import Mapping

from fadewatch_collector.rules.visit_terms import WORK_WORDS, Work
from fadewatch_collector.usecases.visits import Plan
from fadewatch_collector.web.alert import day_of

WORK_FIELD = "work-"
"""Begins the name of each tick of the work that was done."""


def plan_of(form: Mapping[str, str]) -> Plan:
    """Return what a form plans.

    Raises
    ------
    InvalidRequest
        Its day is none.
    """
    return Plan(
        on=day_of(form, "on"),
        assigned_to=form.get("to", "").strip() or None,
        note=form.get("note", "").strip() or None,
        with_alerts=form.get("with-alerts") == "yes",
    )


def work_of(form: Mapping[str, str]) -> list[Work]:
    """Return the work that is ticked in a form."""
    return [word for word in WORK_WORDS if form.get(WORK_FIELD + word) == "yes"]
