"""The labelled fleet in care: its labels are what its reports show."""

from collections import Counter
from datetime import date

import pytest

from fadewatch_collector.simulation.care.diary import Diary, keep_diary
from fadewatch_collector.simulation.care.fleet import CareFleet, care_fleet
from fadewatch_collector.simulation.care.plan import Fit, Quirk
from fadewatch_common.bounds import problems
from fadewatch_common.report import Report

START = date(2024, 1, 1)
LAPTOPS, DAYS, SEED = 200, 300, 4


@pytest.fixture(scope="module")
def fleet() -> CareFleet:
    return care_fleet(LAPTOPS, days=DAYS, start=START, seed=SEED)


@pytest.fixture(scope="module")
def diaries(fleet: CareFleet) -> list[Diary]:
    return [keep_diary(fleet, laptop, SEED) for laptop in fleet.laptops]


def reports(diary: Diary) -> list[Report]:
    return [report for one in diary.deliveries for report in one.reports]


def test_the_same_seed_gives_the_same_fleet(
    fleet: CareFleet, diaries: list[Diary]
) -> None:
    again = care_fleet(LAPTOPS, days=DAYS, start=START, seed=SEED)

    assert again.packs == fleet.packs
    assert keep_diary(again, again.laptops[7], SEED) == diaries[7]


def test_every_kind_of_swap_and_every_quirk_is_met(
    fleet: CareFleet, diaries: list[Diary]
) -> None:
    fits = {swap.fit for diary in diaries for swap in diary.swaps}
    quirks = {span.quirk for laptop in fleet.laptops for span in laptop.spans}

    assert fits == set(Fit) - {Fit.FIRST}
    assert quirks == set(Quirk)
    assert {swap.is_firm for diary in diaries for swap in diary.swaps} == {True, False}


def test_reports_keep_to_their_bounds(diaries: list[Diary]) -> None:
    for diary in diaries[::6]:
        assert [list(problems(report)) for report in reports(diary)[::9]] == [
            [] for _ in reports(diary)[::9]
        ]


def test_a_report_comes_at_its_day_or_later_and_some_come_twice(
    diaries: list[Diary],
) -> None:
    seen = Counter(report.report_id for diary in diaries for report in reports(diary))

    assert set(seen.values()) == {1, 2}
    for diary in diaries:
        arrivals = [one.day for one in diary.deliveries]
        assert arrivals == sorted(arrivals)


def test_a_swap_is_labelled_where_the_packs_told_by_reports_differ(
    fleet: CareFleet, diaries: list[Diary]
) -> None:
    for diary in diaries:
        for swap in diary.swaps:
            assert swap.old_pack != swap.new_pack
            assert swap.last_before < swap.first_after
            old, new = fleet.packs[swap.old_pack], fleet.packs[swap.new_pack]
            assert not swap.is_firm or (old.is_firm and new.is_firm)
            if swap.is_wrong is False:
                assert swap.fit in {Fit.NEW, Fit.SECOND_TYPE}


def test_only_twins_share_an_identity(fleet: CareFleet) -> None:
    told = Counter(
        (pack.kind, pack.serial, pack.made_on) for pack in fleet.packs if pack.is_firm
    )

    assert 1 <= sum(count > 1 for count in told.values()) <= LAPTOPS * 0.05
