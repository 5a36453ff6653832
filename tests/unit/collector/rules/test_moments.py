"""When a reading counts, if the laptop's clock cannot be believed."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from fadewatch_collector.rules.moments import believable_moment

RECEIVED = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    "measured",
    [
        RECEIVED,
        RECEIVED - timedelta(days=90),
        RECEIVED + timedelta(hours=3),
        RECEIVED - timedelta(days=700),
    ],
)
def test_a_moment_that_can_be_is_kept(measured: datetime) -> None:
    assert believable_moment(measured, RECEIVED) == measured


@pytest.mark.parametrize(
    "measured",
    [
        datetime(1970, 1, 1, tzinfo=UTC),
        datetime(2021, 1, 1, tzinfo=UTC),
        RECEIVED + timedelta(days=2),
        datetime(2150, 1, 1, tzinfo=UTC),
    ],
)
def test_a_clock_gone_wrong_gives_way_to_the_collectors(measured: datetime) -> None:
    assert believable_moment(measured, RECEIVED) == RECEIVED


def test_the_moment_is_given_in_utc() -> None:
    measured = RECEIVED.astimezone(timezone(timedelta(hours=5)))

    assert believable_moment(measured, RECEIVED).utcoffset() == timedelta(0)
