"""What a message says of alerts."""

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.rules.messages import ToldAlert, in_digest_order, one_line


def told(
    number: int, urgency: Urgency, site: str | None, opened_at: str = "2026-03-01"
) -> ToldAlert:
    return ToldAlert(
        id=number,
        kind="wear-plan",
        urgency=urgency,
        state="open",
        reopened=0,
        site=site,
        opened_at=opened_at,
        reasons=("Wear is 31.0 %.",),
        next_step="Order a pack.",
    )


def test_a_digest_goes_by_urgency_then_site_then_age() -> None:
    alerts = [
        told(1, "note", "North"),
        told(2, "plan", None),
        told(3, "plan", "South"),
        told(4, "plan", "North", "2026-03-02"),
        told(5, "plan", "North"),
        told(6, "note", "East"),
    ]

    ordered = [alert.id for alert in in_digest_order(alerts)]

    assert ordered == [5, 4, 3, 2, 6, 1]


def test_what_is_told_survives_the_store() -> None:
    alert = told(1, "act", "North")

    again = ToldAlert(**json.loads(json.dumps(alert.to_plain())))

    assert again.to_plain() == json.loads(json.dumps(alert.to_plain()))


@pytest.mark.parametrize(
    ("hostile", "line"),
    [
        ("CC-57\r\nBcc: all@example.org", "CC-57 Bcc: all@example.org"),
        ("left\u202eright", "left right"),
        ("one\u2028two\x00three", "one two three"),
        ("\ud800 lone", "lone"),
        ("  wide   open  ", "wide open"),
    ],
)
def test_words_of_firmware_become_one_harmless_line(hostile: str, line: str) -> None:
    assert one_line(hostile) == line


@given(st.text(), st.integers(1, 50))
def test_a_line_is_short_seen_and_stays_as_it_is(text: str, limit: int) -> None:
    line = one_line(text, limit)

    assert len(line) <= limit
    assert not {unicodedata.category(sign) for sign in line} & {"Cc", "Cf", "Cs", "Zl"}
    line.encode()
    assert one_line(line, limit) == line
