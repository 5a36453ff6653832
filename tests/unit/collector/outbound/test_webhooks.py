"""What a webhook says, how it is signed, and how its answer is read."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest

from fadewatch_collector.outbound.webhooks import body_of, retry_after, sign
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from tests.unit.collector.outbound.messages import (
    ALERT,
    PAGES,
    STOP_USE,
    WRITTEN,
    message,
)


def test_the_signature_is_that_of_another_program() -> None:
    # printf '1772442000.{"id":"x"}' | openssl dgst -sha256 -hmac fws_secret
    expected = "da473f3766fbbbe35384a1777093f0d8df1a5a050225641d93c0b4cb728d99fb"

    assert sign("fws_secret", "1772442000", b'{"id":"x"}') == expected


def test_the_body_holds_the_alert_its_page_and_the_messages_name() -> None:
    plain = json.loads(body_of(message(ALERT), PAGES))

    assert plain["id"] == "alert-17.0.act.20260302T090000Z.route-1"
    assert plain["what"] == "act"
    assert plain["written_at"] == "2026-03-02T09:00:00+00:00"
    (alert,) = plain["alerts"]
    assert alert["kind"] == "wear-replace"
    assert alert["page"] == "https://packs.example.org/laptops/3"
    assert alert["figures"]["wear_percent"] == 43.51
    assert "cautions" not in alert


def test_stop_use_carries_the_cautions() -> None:
    plain = json.loads(body_of(message(STOP_USE), PAGES))

    assert plain["alerts"][0]["cautions"] == list(STOP_USE_CAUTIONS)


def test_the_body_is_the_same_at_every_try_and_plain_ascii() -> None:
    hostile = message(replace(ALERT, pack_model="\u202e\ud800\r\n"))

    assert body_of(hostile, PAGES) == body_of(hostile, PAGES)
    assert body_of(hostile, PAGES).isascii()


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        (None, None),
        ("120", 120),
        (" 0 ", 0),
        ("Mon, 02 Mar 2026 09:05:00 GMT", 300),
        ("Mon, 02 Mar 2026 08:00:00 GMT", 0),
        ("soon", None),
        ("-5", None),
        ("٣", None),
        ("9" * 40, 9_999_999_999),
    ],
)
def test_retry_after_is_read_as_seconds_or_a_date(
    value: str | None, seconds: int | None
) -> None:
    expected = None if seconds is None else timedelta(seconds=seconds)

    assert retry_after(value, WRITTEN) == expected
