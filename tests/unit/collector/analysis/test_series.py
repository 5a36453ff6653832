import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.analysis.series import Histories


def build(pack: list[int], day: list[float], full: list[float]) -> Histories:
    return Histories.from_rows(
        ["a", "b", "c"], pack=pack, day=day, full=full, design=[100.0] * len(full)
    )


def test_rows_in_any_order_give_time_order_within_each_pack() -> None:
    made = build([1, 0, 1, 0], [20_003, 20_002, 20_001, 20_001], [1, 2, 3, 4])
    assert made.offsets.tolist() == [0, 2, 4, 4]
    assert made.day.tolist() == [20_001, 20_002, 20_001, 20_003]
    assert made.full.tolist() == [4, 2, 3, 1]


def test_a_repeated_day_becomes_its_median() -> None:
    odd = build([0, 0, 0], [20_001] * 3, [90, 10, 91])
    even = build([0, 0], [20_001] * 2, [90, 91])
    assert odd.full.tolist() == [90]
    assert even.full.tolist() == [90.5]


def test_unknown_values_do_not_spoil_a_repeated_day() -> None:
    made = Histories.from_rows(
        ["a"],
        pack=[0, 0, 0],
        day=[20_001] * 3,
        full=[90, 92, 91],
        design=[100, 100, 100],
        cycles=[np.nan, 7, np.nan],
    )
    assert made.cycles.tolist() == [7]


def test_cycles_left_out_are_unknown() -> None:
    assert np.isnan(build([0], [20_001], [90]).cycles).all()


def test_impossible_dates_are_left_out() -> None:
    # An unset clock shows 1970 or 1980; 2106-02-07 is the end of unsigned 32-bit time.
    made = build([0, 0, 0, 0], [0, 3653, 20_001, 49_710], [90] * 4)
    assert made.day.tolist() == [20_001]


def test_a_pack_without_rows_stays() -> None:
    made = build([0], [20_001], [90])
    assert len(made) == 3
    assert len(made.one(2).day) == 0


def test_some_packs_are_a_view_with_their_own_offsets() -> None:
    made = build([0, 1, 1, 2], [20_001, 20_001, 20_002, 20_001], [1, 2, 3, 4])
    part = made.some(1, 3)
    assert part.pack_ids == ("b", "c")
    assert part.offsets.tolist() == [0, 2, 3]
    assert np.shares_memory(part.full, made.full)


@given(
    rows=st.lists(
        st.tuples(
            st.integers(0, 2), st.integers(20_000, 20_010), st.integers(1, 100_000)
        ),
        min_size=1,
        max_size=40,
    ),
    seed=st.randoms(use_true_random=False),
)
def test_the_order_of_rows_changes_nothing(
    rows: list[tuple[int, int, int]], seed: object
) -> None:
    shuffled = list(rows)
    seed.shuffle(shuffled)  # type: ignore[attr-defined]  # hypothesis gives a Random
    first, second = (
        build([r[0] for r in some], [r[1] for r in some], [r[2] for r in some])
        for some in (rows, shuffled)
    )
    assert first.day.tolist() == second.day.tolist()
    assert first.full.tolist() == second.full.tolist()
