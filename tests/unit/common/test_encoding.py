"""Reports as JSON."""

import json
from datetime import UTC, date, datetime, timedelta, timezone

from fadewatch_common.encoding import format_moment, to_json, to_plain
from fadewatch_common.report import Agent, Laptop, Pack, Report

REPORT = Report(
    report_id="01958f0c-7d00-7000-8000-000000000007",
    measured_at=datetime(
        2026, 3, 14, 10, 26, 53, 500, tzinfo=timezone(timedelta(hours=1))
    ),
    agent=Agent(version="0.1.0", platform="Linux"),
    laptop=Laptop(maker="Tärnholm"),
    packs=(
        Pack(
            slot="BAT0",
            unit="mWh",
            made_on=date(2023, 3, 15),
            remaining_capacity=0,
            temperature_c=30.0,
        ),
    ),
    mains_online=False,
)


def test_unknown_is_absent_and_zero_and_false_are_not() -> None:
    assert json.loads(to_json(REPORT)) == {
        "report_id": "01958f0c-7d00-7000-8000-000000000007",
        "measured_at": "2026-03-14T09:26:53.000500Z",
        "agent": {"version": "0.1.0", "platform": "Linux"},
        "laptop": {"maker": "Tärnholm"},
        "packs": [
            {
                "slot": "BAT0",
                "unit": "mWh",
                "state": "unknown",
                "made_on": "2023-03-15",
                "remaining_capacity": 0,
                "temperature_c": 30.0,
            }
        ],
        "mains_online": False,
        "drives": [],
        "remarks": [],
        "schema": 1,
    }


def test_json_is_compact_and_in_utf_8() -> None:
    text = to_json(REPORT)

    assert "Tärnholm" in text
    assert ": " not in text
    assert "\n" not in text


def test_moments_are_in_utc_with_a_z() -> None:
    assert format_moment(datetime(2026, 3, 14, tzinfo=UTC)) == "2026-03-14T00:00:00Z"


def test_plain_values_stay_as_they_are() -> None:
    assert to_plain("a") == "a"
    assert to_plain(Pack) is Pack
