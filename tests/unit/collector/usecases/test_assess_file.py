import numpy as np
import pytest

from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.usecases.assess_file import (
    assess_histories,
    last_days,
    newest_day,
    readings_after,
)

START = 20_000


def histories(*days: list[int]) -> Histories:
    """One pack for each list of days, all sound."""
    pack = np.repeat(np.arange(len(days)), [len(one) for one in days])
    flat = np.concatenate([np.array(one, dtype=int) for one in days])
    return Histories.from_rows(
        [f"pack {number}" for number in range(len(days))],
        pack=pack,
        day=flat,
        full=np.full(flat.size, 95.0),
        design=np.full(flat.size, 100.0),
    )


def daily(first: int, last: int) -> list[int]:
    return list(range(START + first, START + last + 1))


def test_the_newest_day_is_that_of_the_newest_reading() -> None:
    assert newest_day(histories(daily(0, 90), daily(10, 120))) == START + 120


def test_a_few_readings_years_ahead_are_a_wrong_clock() -> None:
    ahead = [*daily(0, 200), *daily(4000, 4009)]
    assert newest_day(histories(ahead)) == START + 200
    assert last_days(histories(ahead)).tolist() == [START + 200]


def test_a_young_pack_with_a_wrong_clock_does_not_move_the_present() -> None:
    # Four days of twenty are too many to tell from the pack alone.
    young = [*daily(190, 205), *daily(9000, 9003)]
    fleet = [daily(0, 200) for _ in range(5)]
    assert newest_day(histories(*fleet, young)) == START + 205


def test_a_pack_that_comes_back_after_a_year_is_believed() -> None:
    back = [*daily(0, 100), *daily(500, 560)]
    assert newest_day(histories(back)) == START + 560


def test_one_of_very_many_packs_does_not_move_the_present() -> None:
    # A clock one year ahead leaves no long gap within its pack.
    odd = daily(150, 480)
    fleet = [daily(0, 360) for _ in range(150)]
    assert newest_day(histories(*fleet, odd)) == START + 360


def test_packs_that_end_years_apart_are_assessed_on_the_last_day() -> None:
    assert newest_day(histories(daily(0, 200), daily(0, 1500))) == START + 1500


def test_readings_years_apart_are_all_believed() -> None:
    yearly = [START + 365 * year for year in range(15)]
    assert newest_day(histories(yearly)) == yearly[-1]
    assert last_days(histories(yearly)).tolist() == [yearly[-1]]


def test_a_file_without_a_usable_day_has_no_newest() -> None:
    nothing = Histories.from_rows(["a"], pack=[], day=[], full=[], design=[])
    assert newest_day(nothing) is None
    assert last_days(nothing).tolist() == [-1]


def test_readings_after_the_day_are_counted() -> None:
    assert readings_after(histories(daily(0, 9)), START + 6) == 3


def test_every_pack_is_assessed_in_the_order_of_the_file() -> None:
    made = list(
        assess_histories(histories(daily(0, 60), [], daily(30, 60)), START + 60)
    )
    assert [one.pack_id for one in made] == ["pack 0", "pack 1", "pack 2"]
    assert [one.readings > 0 for one in made] == [True, False, True]
    assert made[1].band == "unknown"
    assert made[0].wear_percent == pytest.approx(5.0, abs=0.5)


def test_a_later_reading_than_the_day_changes_nothing() -> None:
    day = START + 60
    until_then = list(assess_histories(histories(daily(0, 60)), day))
    with_later = list(assess_histories(histories(daily(0, 300)), day))
    assert with_later == until_then
