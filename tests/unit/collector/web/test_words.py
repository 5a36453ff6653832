"""Plain words for figures and changes."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from fadewatch_collector.rules.alert_terms import ALERT_KINDS, ALERT_STATES, URGENCIES
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.web import words
from fadewatch_collector.web.times import ago, days_ago

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def test_every_kind_urgency_and_state_has_words() -> None:
    assert set(words.KIND_WORDS) == set(ALERT_KINDS)
    assert set(words.URGENCY_WORDS) == set(URGENCIES)
    assert set(words.STATE_WORDS) == set(ALERT_STATES)


def test_nothing_says_that_a_pack_is_safe() -> None:
    said = [
        *words.KIND_WORDS.values(),
        *words.BAND_MEANINGS.values(),
        *words.CONCERN_WORDS.values(),
        *STOP_USE_CAUTIONS,
    ]

    assert "safe" not in " ".join(said).lower()


@pytest.mark.parametrize(
    ("fraction", "text"),
    [
        (0.3412, "34.1 %"),
        (-0.021, "\N{MINUS SIGN}2.1 %"),
        (-0.0001, "0.0 %"),
        (None, "unknown"),
    ],
)
def test_percent_has_one_decimal(fraction: float | None, text: str) -> None:
    assert words.percent(fraction) == text


@pytest.mark.parametrize(
    ("mib", "text"),
    [(16384, "16 GiB"), (15872, "15.5 GiB"), (512, "512 MiB"), (None, "unknown")],
)
def test_memory_is_in_binary_units(mib: int | None, text: str) -> None:
    assert words.memory_size(mib) == text


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (512_110_190_592, "512 GB"),
        (2_000_398_934_016, "2 TB"),
        (64_000_000, "64 MB"),
        (17, "17 bytes"),
        (None, "unknown"),
    ],
)
def test_drives_are_in_decimal_units(size: int | None, text: str) -> None:
    assert words.storage_size(size) == text


def test_a_capacity_keeps_its_own_unit_and_groups_its_thousands() -> None:
    space = "\N{NARROW NO-BREAK SPACE}"

    assert words.capacity(52000.4, "mWh") == f"52{space}000 mWh"
    assert words.capacity(100, "relative") == "100"
    assert words.capacity(None, "mAh") == "unknown"


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [
        (
            {"locator": "A", "size_mib": 8192, "maker": "Corvane", "part": "C8"},
            {"locator": "A", "size_mib": 0},
            "Memory: A 8 GiB Corvane C8 → A empty",
        ),
        (None, {"locator": "B", "size_mib": 4096}, "Memory: nothing → B 4 GiB"),
        ("odd", None, "Memory: odd → nothing"),
    ],
)
def test_a_change_says_before_and_after(before: Any, after: Any, text: str) -> None:
    assert words.change_words("memory", before, after) == text


@pytest.mark.parametrize(
    ("step", "text"),
    [
        (timedelta(seconds=20), "just now"),
        (timedelta(seconds=50), "50 seconds ago"),
        (timedelta(minutes=1), "1 minute ago"),
        (timedelta(hours=23, minutes=59), "23 hours ago"),
        (timedelta(days=13), "13 days ago"),
        (timedelta(days=65), "2 months ago"),
        (timedelta(days=800), "2 years ago"),
        (timedelta(seconds=-10), "just now"),
        (timedelta(hours=-1), "in the future: check the clock"),
    ],
)
def test_ago_is_one_whole_unit(step: timedelta, text: str) -> None:
    assert ago(NOW - step, NOW) == text


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (0, "today"),
        (1, "1 day ago"),
        (9, "9 days ago"),
        (-1, "in 1 day"),
        (-5, "in 5 days"),
    ],
)
def test_days_ago_counts_days(days: int, text: str) -> None:
    today = date(2026, 3, 2)

    assert days_ago(today - timedelta(days=days), today) == text
