"""What status says is wrong, and what to do."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fadewatch_agent.advice import Situation, advice

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
RAN: dict[str, Any] = {"ran_at": "2026-11-25T09:00:00Z"}


def said(
    last: dict[str, Any] | None = None,
    *,
    collector: str | None = "https://fade.example",
    enrolled: bool = True,
    queued: int = 0,
    set_aside: int = 0,
) -> str:
    known = RAN | (last or {})
    every = timedelta(hours=6)
    return " ".join(
        advice(
            Situation(
                collector, enrolled, queued, set_aside, known, every, NOW, "linux"
            )
        )
    )


def error(kind: str, words: str = "why") -> dict[str, Any]:
    return {"error": words, "error_kind": kind}


def test_when_all_is_well_it_says_so() -> None:
    assert said() == "All is well: what was read is with the collector."


def test_without_a_collector_it_says_how_to_name_one() -> None:
    assert "install --collector URL" in said(collector=None)


def test_a_timer_that_stopped_is_found_out() -> None:
    told = said({"ran_at": "2026-11-20T12:00:00Z"})

    assert "has not run for 5 days" in told
    assert "systemctl list-timers fadewatch-agent.timer" in told


def test_an_agent_that_never_ran_is_told_from_one_that_stopped() -> None:
    assert "has never run here" in said({"ran_at": None})


@pytest.mark.parametrize(
    ("last", "enrolled", "what", "to_do"),
    [
        (error("Refused"), True, "laptop's key", "make a new enrolment token"),
        (error("Refused"), False, "enrolment token", "make a new enrolment token"),
        (error("NotEnrolled"), False, "no key and no token", "--token-file FILE"),
        (error("InvalidConfiguration"), True, "cannot be used: why", "Correct it"),
        (error("NotACollector"), True, "Something else", "a wrong address"),
        (error("Unacceptable"), True, "does not understand", "versions"),
        (error("Unreachable"), True, "not reached: why", "the network"),
        (
            error("Unreachable", "certificate has expired; this laptop's clock says x"),
            True,
            "not reached",
            "Set this laptop's clock",
        ),
        (
            error("Unreachable", "[SSL: CERTIFICATE_VERIFY_FAILED] self-signed"),
            True,
            "not reached",
            "install --ca FILE",
        ),
        (
            error("Unreachable", "answer 503 (busy)"),
            True,
            "not reached",
            "asked to come back",
        ),
    ],
)
def test_every_obstacle_is_worded_with_what_to_do(
    last: dict[str, Any], *, enrolled: bool, what: str, to_do: str
) -> None:
    told = said(last, enrolled=enrolled, queued=3)

    assert what in told
    assert to_do in told


@pytest.mark.parametrize(
    ("queued", "words"), [(1, "1 report waits"), (7, "7 reports wait")]
)
def test_it_says_how_many_reports_wait(queued: int, words: str) -> None:
    assert words in said(error("Unreachable"), queued=queued)


def test_rejected_reports_are_pointed_out() -> None:
    assert "2 reports were rejected" in said(set_aside=2)
