from dataclasses import asdict
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_collector.simulation.arrivals import as_arrived
from fadewatch_collector.simulation.fleet import Rows
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.usecases.assess_file import conclusions
from fadewatch_collector.usecases.backtest import HEARD_WITHIN, replay, steps

END = date(2026, 6, 30)
FIRST = 20_000


def built(ids: tuple[str, ...], rows: Rows, keep: np.ndarray) -> Histories:
    return Histories.from_rows(
        ids,
        pack=rows.pack[keep],
        day=rows.measured_on.astype(np.int64)[keep],
        full=rows.full_charge_capacity[keep],
        design=rows.design_capacity[keep],
        cycles=rows.cycle_count[keep],
    )


def said(histories: Histories, step_days: int) -> dict[tuple[str, date], Assessment]:
    return {
        (one.pack_id, one.as_of): one
        for step in replay(histories, step_days)
        for one in conclusions(step.figures)
    }


def plain(days: list[int]) -> Histories:
    return Histories.from_rows(
        ["a"],
        pack=[0] * len(days),
        day=days,
        full=[90.0] * len(days),
        design=[100.0] * len(days),
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_later_readings_never_change_an_earlier_line(seed: int) -> None:
    fleet = simulate(20, days=240, end=END, seed=seed)
    rows = as_arrived(fleet)
    day = rows.measured_on.astype(np.int64)
    everything = said(built(fleet.pack_ids, rows, day < 10**6), 14)
    for cut in (END - timedelta(days=130), END - timedelta(days=40)):
        number = (cut - date(1970, 1, 1)).days
        so_far = said(built(fleet.pack_ids, rows, day <= number), 14)
        assert so_far
        for key, line in so_far.items():
            assert asdict(everything[key]) == asdict(line)
        # And nothing is said later only because it was known how it went on, but for
        # packs that had ended: those take part again once they are heard again.
        for pack_id, as_of in everything.keys() - so_far.keys():
            of_pack = [when for name, when in so_far if name == pack_id]
            assert as_of > max(of_pack, default=date.min)


@settings(max_examples=10, deadline=None)
@given(
    known=st.lists(st.integers(0, 250), min_size=1, max_size=30, unique=True),
    later=st.lists(st.integers(251, 600), max_size=30, unique=True),
    step_days=st.integers(5, 40),
)
def test_a_line_stands_whatever_comes_later(
    known: list[int], later: list[int], step_days: int
) -> None:
    so_far = said(plain([FIRST + day for day in known]), step_days)
    everything = said(plain([FIRST + day for day in known + later]), step_days)
    for key, line in so_far.items():
        assert everything[key] == line


def test_a_step_hands_over_no_reading_of_a_later_day() -> None:
    days = [FIRST + day for day in range(0, 120, 3)]
    for step in replay(plain(days), 7):
        assert step.figures.as_of.tolist() == [step.as_of]
        assert step.figures.last_day.max() <= step.as_of
        assert step.figures.readings.tolist() == [
            sum(day <= step.as_of for day in days)
        ]


def test_steps_are_as_far_apart_as_asked() -> None:
    days = list(range(FIRST, FIRST + 100))
    assert set(np.diff(steps(plain(days), 7)).tolist()) == {7}
    assert len(steps(plain(days), 1)) == 100


def test_another_pack_moves_no_step() -> None:
    alone = steps(plain(list(range(FIRST, FIRST + 60))), 7)
    both = steps(
        Histories.from_rows(
            ["a", "b"],
            pack=[0] * 60 + [1] * 40,
            day=[*range(FIRST, FIRST + 60), *range(FIRST - 11, FIRST + 29)],
            full=[90.0] * 100,
            design=[100.0] * 100,
        ),
        7,
    )
    assert set(alone) <= set(both)


def test_a_long_silence_is_not_filled_with_lines() -> None:
    days = [*range(FIRST, FIRST + 30), *range(FIRST + 5000, FIRST + 5030)]
    said_on = [step.as_of for step in replay(plain(days), 7)]
    silent = [day for day in said_on if FIRST + 30 <= day < FIRST + 5000]
    assert max(silent) <= FIRST + 29 + HEARD_WITHIN
    assert said_on[-1] >= FIRST + 5020


def test_a_pack_takes_part_from_its_first_reading_to_its_last() -> None:
    histories = Histories.from_rows(
        ["early", "late"],
        pack=[0] * 40 + [1] * 40,
        day=[*range(FIRST, FIRST + 40), *range(FIRST + 30, FIRST + 70)],
        full=[90.0] * 80,
        design=[100.0] * 80,
    )
    for step in replay(histories, 1):
        expected = [
            name
            for name, first in (("early", FIRST), ("late", FIRST + 30))
            if first <= step.as_of < first + 40
        ]
        assert list(step.figures.pack_ids) == expected


def test_nothing_is_said_without_a_reading() -> None:
    nothing = Histories.from_rows(["a"], pack=[], day=[], full=[], design=[])
    assert steps(nothing, 7) == []
    assert list(replay(nothing, 7)) == []


def test_every_step_is_told_as_done() -> None:
    told: list[int] = []
    histories = plain(list(range(FIRST, FIRST + 60)))
    list(replay(histories, 7, advance=told.append))
    assert sum(told) == len(steps(histories, 7))
