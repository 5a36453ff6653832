"""When an alert opens, changes, ends, and opens again."""

from datetime import UTC, datetime, timedelta

import pytest

from fadewatch_collector.rules.alert_terms import AlertKind, Urgency
from fadewatch_collector.rules.alerting import (
    Finding,
    Known,
    Rested,
    Settlement,
    Standing,
    Watch,
    settle,
)

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def finding(kind: AlertKind = "wear-plan", urgency: Urgency = "plan") -> Finding:
    return Finding(kind=kind, urgency=urgency, reasons=("why",), next_step="do")


def standing(kind: AlertKind = "wear-plan", urgency: Urgency = "plan") -> Standing:
    return Standing(5, kind, urgency, ("why",), "do")


def test_wear_opens_at_once() -> None:
    assert settle(Known(), [finding()], NOW) == Settlement(to_open=[finding()])


def test_what_stands_is_brought_up_to_date() -> None:
    assert settle(Known([standing()]), [finding()], NOW) == Settlement(
        to_update=[(standing(), finding())]
    )


def test_a_finding_that_may_pass_is_watched_first() -> None:
    found = finding("fast-fade")

    assert settle(Known(), [found], NOW) == Settlement(
        to_watch=[Watch("fast-fade", True, NOW)]
    )


@pytest.mark.parametrize(("days", "opens"), [(6.9, False), (7, True)])
def test_a_watched_finding_opens_when_it_has_stood(days: float, opens: bool) -> None:
    found = finding("fast-fade")
    watch = Watch("fast-fade", True, NOW - days * DAY)

    result = settle(Known(watches=[watch]), [found], NOW)

    assert result.to_open == ([found] if opens else [])
    assert result.to_forget == (["fast-fade"] if opens else [])
    assert result.to_watch == []


def test_stop_use_never_waits() -> None:
    found = finding("inspect", "stop-use")

    assert settle(Known(), [found], NOW).to_open == [found]


def test_a_finding_that_passed_is_forgotten() -> None:
    watch = Watch("fast-fade", True, NOW - DAY)

    assert settle(Known(watches=[watch]), [], NOW) == Settlement(
        to_forget=["fast-fade"]
    )


def test_an_alert_outlasts_a_short_absence_of_its_cause() -> None:
    first = settle(Known([standing()]), [], NOW)
    gone = Watch("wear-plan", False, NOW - 2 * DAY)
    later = settle(Known([standing()], watches=[gone]), [], NOW)

    assert first == Settlement(to_watch=[Watch("wear-plan", False, NOW)])
    assert later == Settlement()


def test_an_alert_ends_when_its_cause_has_been_gone_for_long() -> None:
    gone = Watch("wear-plan", False, NOW - 3 * DAY)

    result = settle(Known([standing()], watches=[gone]), [], NOW)

    assert [alert.id for alert, _ in result.to_end] == [5]
    assert result.to_forget == ["wear-plan"]


def test_a_cause_that_is_back_in_time_stops_the_ending() -> None:
    gone = Watch("wear-plan", False, NOW - 2 * DAY)

    result = settle(Known([standing()], watches=[gone]), [finding()], NOW)

    assert result.to_forget == ["wear-plan"]
    assert result.to_end == []


def test_replace_takes_the_place_of_plan_at_once() -> None:
    result = settle(Known([standing()]), [finding("wear-replace", "act")], NOW)

    assert [kind.kind for kind in result.to_open] == ["wear-replace"]
    assert result.to_end == [(standing(), "wear has passed the replace threshold")]


def test_a_matter_that_comes_back_is_opened_again_and_not_doubled() -> None:
    rested = Rested(5, "wear-plan", "plan", by_person=False)

    assert settle(Known(rested=[rested]), [finding()], NOW) == Settlement(
        to_reopen=[(rested, finding())]
    )


def test_what_a_person_ended_rests_though_its_cause_stays() -> None:
    rested = Rested(5, "wear-plan", "plan", by_person=True)

    assert settle(Known(rested=[rested]), [finding()], NOW) == Settlement()


def test_what_a_person_ended_comes_back_when_it_is_more_urgent() -> None:
    rested = Rested(5, "sudden-drop", "act", by_person=True)
    worse = finding("sudden-drop", "stop-use")

    assert settle(Known(rested=[rested]), [worse], NOW).to_reopen == [(rested, worse)]
