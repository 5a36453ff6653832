from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fadewatch_collector.usecases.history_csv import (
    MOST_NAMED,
    ROWS_AT_ONCE,
    HistoryFile,
    UnreadableHistory,
    read_history_csv,
)

HEADING = "pack_id,measured_at,design_capacity,full_charge_capacity,cycle_count\n"
EPOCH = date(1970, 1, 1).toordinal()


def read(folder: Path, text: str, *, strict: bool = False) -> HistoryFile:
    path = folder / "histories.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return read_history_csv(path, strict=strict)


def day(year: int, month: int, number: int) -> int:
    return date(year, month, number).toordinal() - EPOCH


def test_rows_become_the_histories_of_their_packs(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        HEADING
        + "b,2026-03-02,50000,47000,12\n"
        + "a,2026-03-01,4400,4000,\n"
        + "b,2026-03-01,50000,47100,11\n",
    )
    histories = found.histories
    assert histories.pack_ids == ("b", "a")
    assert histories.day.tolist() == [
        day(2026, 3, 1),
        day(2026, 3, 2),
        day(2026, 3, 1),
    ]
    assert histories.full.tolist() == [47100, 47000, 4000]
    assert histories.design.tolist() == [50000, 50000, 4400]
    assert histories.cycles[:2].tolist() == [11, 12]
    assert np.isnan(histories.cycles[2])
    assert (found.rows, found.set_aside_count) == (3, 0)


@pytest.mark.parametrize(
    ("moment", "number"),
    [
        ("2026-03-01", day(2026, 3, 1)),
        ("2026-03-01T23:59:59Z", day(2026, 3, 1)),
        ("2026-03-01 08:30:00", day(2026, 3, 1)),
        ("2026-03-01T23:30:00-05:00", day(2026, 3, 2)),
        ("2026-03-01T00:30:00+02:00", day(2026, 2, 28)),
        (" 2026-03-01 ", day(2026, 3, 1)),
    ],
)
def test_a_moment_counts_for_its_day_in_utc(
    tmp_path: Path, moment: str, number: int
) -> None:
    found = read(tmp_path, HEADING + f"a,{moment},100,90,1\n")
    assert found.histories.day.tolist() == [number]


def test_columns_may_stand_in_any_order_and_others_beside_them(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        "Site,Full_Charge_Capacity, pack_id ,cycle_count,measured_at,design_capacity\n"
        "north,90,a,3,2026-03-01,100\n",
    )
    assert found.histories.full.tolist() == [90]
    assert found.histories.design.tolist() == [100]


def test_a_byte_order_mark_and_blank_lines_do_no_harm(tmp_path: Path) -> None:
    text = "\ufeff" + HEADING + "\r\na,2026-03-01,100,90,1\r\n\r\n"
    found = read(tmp_path, text)
    assert found.rows == 1
    assert found.histories.pack_ids == ("a",)


NO_DATE = "is no date; write it as 2026-01-31 or 2026-01-31T08:30:00Z"
NO_NUMBER = (
    "is no number; write it in digits with a decimal point and no unit, or leave it "
    "empty"
)


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        (
            "a,2026-03-01,100",
            "3 fields where the heading has 5; quote a field that holds a comma",
        ),
        (
            " ,2026-03-01,100,90,1",
            "no pack_id; give every row the name of its pack",
        ),
        (
            "a,31.01.2026,100,90,1",
            f"measured_at '31.01.2026' {NO_DATE}",
        ),
        (
            "a,2026-02-30,100,90,1",
            f"measured_at '2026-02-30' {NO_DATE}",
        ),
        (
            "a,2026-03-01,100 mWh,90,1",
            f"design_capacity '100 mWh' {NO_NUMBER}",
        ),
        (
            "a,2026-03-01,100,inf,1",
            f"full_charge_capacity 'inf' {NO_NUMBER}",
        ),
    ],
)
def test_a_row_that_is_not_right_is_set_aside_with_its_line_and_a_remedy(
    tmp_path: Path, row: str, problem: str
) -> None:
    good = "a,2026-03-02,100,89,1\n"
    found = read(tmp_path, HEADING + good + row + "\n" + good)
    assert [str(one) for one in found.set_aside] == [f"line 3: {problem}"]
    assert found.set_aside_count == 1
    assert found.rows == 3
    assert found.histories.full.tolist() == [89]


def test_rows_that_are_all_too_short_are_each_set_aside(tmp_path: Path) -> None:
    with pytest.raises(UnreadableHistory, match="line 2: 4 fields"):
        read(tmp_path, HEADING + "a,2026-03-01,100,90\n" * 3)


def test_a_moment_outside_the_calendar_is_no_date(tmp_path: Path) -> None:
    rows = "a,0001-01-01T00:30:00+05:00,100,90,1\na,2026-03-01,100,90,1\n"
    found = read(tmp_path, HEADING + rows)
    assert "is no date" in found.set_aside[0].problem


def test_thousands_of_blank_lines_are_no_rows(tmp_path: Path) -> None:
    text = HEADING + "\n" * (ROWS_AT_ONCE + 5) + "a,2026-03-01,100,90,1\n"
    found = read(tmp_path, text)
    assert (found.rows, found.set_aside_count) == (1, 0)


def test_a_strict_reading_stops_at_the_first_such_row(tmp_path: Path) -> None:
    with pytest.raises(UnreadableHistory, match="line 2: measured_at 'soon'"):
        read(tmp_path, HEADING + "a,soon,1,1,1\na,2026-03-01,1,1,1\n", strict=True)


def test_lines_are_counted_as_an_editor_shows_them(tmp_path: Path) -> None:
    text = HEADING + '"a\nb",2026-03-01,100,90,1\n\na,never,100,90,1\n'
    found = read(tmp_path, text)
    # The heading, a name over two lines, a blank line.
    assert found.set_aside[0].line == 5


def test_every_row_set_aside_is_counted_and_the_first_are_named(tmp_path: Path) -> None:
    bad = MOST_NAMED + 7
    found = read(tmp_path, HEADING + "a,2026-03-01,1,1,1\n" + "a,x,1,1,1\n" * bad)
    assert len(found.set_aside) == MOST_NAMED
    assert found.set_aside_count == bad


def test_a_bad_row_costs_no_other_row_of_a_long_file(tmp_path: Path) -> None:
    count = ROWS_AT_ONCE + 50
    rows = [f"a{number % 9},2026-03-01,100,90,1" for number in range(count)]
    rows[ROWS_AT_ONCE + 10] = "a,2026-03-01,100,ninety,1"
    found = read(tmp_path, HEADING + "\n".join(rows) + "\n")
    assert found.rows == count
    assert found.set_aside_count == 1
    assert found.set_aside[0].line == ROWS_AT_ONCE + 12
    assert len(found.histories) == 9


def test_nonsense_that_is_a_number_is_left_to_the_analysis(tmp_path: Path) -> None:
    rows = "a,2026-03-01,100,0,1\na,2026-03-02,100,65535,1\na,2026-03-03,100,-5,1\n"
    found = read(tmp_path, HEADING + rows)
    assert found.set_aside_count == 0
    assert found.histories.full.tolist() == [0, 65535, -5]


def test_rows_without_a_capacity_and_with_impossible_dates_are_counted(
    tmp_path: Path,
) -> None:
    rows = "a,2026-03-01,100,,1\na,1970-01-01,100,90,1\na,2026-03-02,100,90,\n"
    found = read(tmp_path, HEADING + rows)
    assert found.without_capacity == 1
    assert found.impossible_dates == 1
    assert found.histories.day.tolist() == [day(2026, 3, 1), day(2026, 3, 2)]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "the heading lacks pack_id, measured_at"),
        ("pack_id,measured_at\na,2026-03-01\n", "lacks design_capacity"),
        (HEADING.replace(",", ";"), "Separate columns by commas"),
        (HEADING, "holds a heading and no row below it"),
        (HEADING + "a,soon,1,1,1\n", "no row can be read; line 2: measured_at 'soon'"),
        (HEADING + '"a,2026-03-01,1,1,1\n' + "x" * 200_000, "never closed"),
    ],
)
def test_a_file_without_histories_is_refused_with_the_reason(
    tmp_path: Path, text: str, problem: str
) -> None:
    with pytest.raises(UnreadableHistory) as raised:
        read(tmp_path, text)
    assert problem in str(raised.value)


def test_a_file_in_another_encoding_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "histories.csv"
    path.write_bytes((HEADING + "ä,2026-03-01,1,1,1\n").encode("latin-1"))
    with pytest.raises(UnreadableHistory, match="not UTF-8 text"):
        read_history_csv(path)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableHistory, match="No such file"):
        read_history_csv(tmp_path / "none.csv")


def test_bytes_are_told_as_they_are_read(tmp_path: Path) -> None:
    path = tmp_path / "histories.csv"
    rows = "".join(
        f"a,2026-03-{1 + n % 28:02d},100,90,1\n" for n in range(2 * ROWS_AT_ONCE)
    )
    path.write_text(HEADING + rows)
    told: list[int] = []
    read_history_csv(path, advance=told.append)
    assert sum(told) == path.stat().st_size
    assert len(told) >= 2


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=80)
@given(
    rows=st.lists(
        st.lists(
            st.text(
                alphabet=st.characters(codec="utf-8", exclude_characters='",\r\n\0'),
                max_size=12,
            )
            | st.sampled_from(["a", "2026-03-01", "100", "90", ""]),
            min_size=2,
            max_size=6,
        ),
        min_size=1,
        max_size=12,
    )
)
def test_every_row_is_either_used_or_set_aside(
    tmp_path: Path, rows: list[list[str]]
) -> None:
    good = "z,2026-03-01,100,90,1\n"
    text = HEADING + good + "".join(",".join(row) + "\n" for row in rows)
    found = read(tmp_path, text)
    assert found.rows == 1 + len(rows)
    used = found.rows - found.set_aside_count
    assert 1 <= len(found.histories) <= used
    assert len(found.histories.day) <= used
