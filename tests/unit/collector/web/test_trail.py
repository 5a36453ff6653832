"""The audit trail in words."""

from datetime import UTC, datetime
from typing import Any

import pytest

from fadewatch_collector.usecases.page_views import AuditLine
from fadewatch_collector.web.trail import trail_lines

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)


def line(action: str, detail: dict[str, Any] | None, subject: str) -> AuditLine:
    return AuditLine(1, AT, "mira", action, subject, detail)


@pytest.mark.parametrize(
    ("action", "detail", "what", "text"),
    [
        ("acknowledged", None, "alert 7: acknowledged", None),
        (
            "planned",
            {"planned_on": "2026-03-09"},
            "alert 7: planned for 2026-03-09",
            None,
        ),
        ("planned", {}, "alert 7: planned for a day", None),
        ("note", {"text": "a\nb"}, "alert 7: noted", "a\nb"),
        ("note", None, "alert 7: noted", None),
        ("ended", {"because": 5}, "alert 7: ended", None),
        ("something new", {"x": 1}, "alert 7: something new", None),
        (
            "swap confirmed",
            {"swollen": None},
            (
                "alert 7: swap confirmed; the removed pack: nobody has said whether "
                "it is swollen"
            ),
            None,
        ),
        (
            "inspected",
            {"signs": ["gap", "unheard of"], "note": "bench"},
            (
                "alert 7: inspected, signs seen: the lid or the bottom no longer "
                "closes flush; unheard of"
            ),
            "bench",
        ),
    ],
)
def test_acts_are_told_in_words(
    action: str, detail: dict[str, Any] | None, what: str, text: str | None
) -> None:
    (told,) = trail_lines([line(action, detail, "alert:7")], named=True)

    assert (told.at, told.who, told.what, told.text) == (AT, "mira", what, text)


def test_a_trail_of_one_thing_does_not_repeat_its_name() -> None:
    (told,) = trail_lines([line("acknowledged", None, "alert:7")], named=False)

    assert told.what == "acknowledged"


def test_an_operator_is_called_by_name_where_it_is_known() -> None:
    lines = [line("operator disabled", None, f"operator:{n}") for n in (1, 2)]

    told = trail_lines(lines, named=True, names={"operator:1": "kim"})

    assert [one.what for one in told] == ["kim: operator disabled", "operator disabled"]
