from dataclasses import fields, is_dataclass
from datetime import date

import numpy as np
import pytest

from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.simulation.arrivals import as_arrived
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.usecases import together
from fadewatch_collector.usecases.together import (
    assess_groups,
    assess_together,
    only_rows,
    select,
)

END = date(2026, 6, 30)


def histories_of(packs: int, seed: int = 3, days: int = 150) -> Histories:
    fleet = simulate(packs, days=days, end=END, seed=seed)
    rows = as_arrived(fleet)
    return Histories.from_rows(
        fleet.pack_ids,
        pack=rows.pack,
        day=rows.measured_on.astype(np.int64),
        full=rows.full_charge_capacity,
        design=rows.design_capacity,
        cycles=rows.cycle_count,
    )


def flat(record: object) -> list[np.ndarray]:
    found: list[np.ndarray] = []
    if isinstance(record, np.ndarray):
        found.append(record)
    elif is_dataclass(record):
        for field in fields(record):
            found.extend(flat(getattr(record, field.name)))
    return found


def test_packs_are_selected_in_the_order_asked_for() -> None:
    histories = histories_of(12)
    chosen = select(histories, np.array([7, 2]))
    assert chosen.pack_ids == (histories.pack_ids[7], histories.pack_ids[2])
    for place, pack in enumerate((7, 2)):
        one, same = chosen.one(place), histories.one(pack)
        np.testing.assert_array_equal(one.day, same.day)
        np.testing.assert_array_equal(one.full, same.full)
        np.testing.assert_array_equal(one.cycles, same.cycles)


def test_entries_are_selected_up_to_the_end_asked_for() -> None:
    histories = histories_of(12)
    packs = np.array([3, 3])
    end = histories.offsets[packs] + [5, 2]
    chosen = select(histories, packs, end)
    assert chosen.pack_ids == (histories.pack_ids[3],) * 2
    assert chosen.offsets.tolist() == [0, 5, 7]
    np.testing.assert_array_equal(chosen.one(0).day, histories.one(3).day[:5])
    np.testing.assert_array_equal(chosen.one(1).full, histories.one(3).full[:2])


def test_an_empty_pack_is_selected_as_one() -> None:
    histories = Histories.from_rows(
        ["a", "b"], pack=[1], day=[20_000], full=[90], design=[100]
    )
    chosen = select(histories, np.array([0]))
    assert chosen.pack_ids == ("a",)
    assert chosen.day.size == 0


def test_the_size_of_a_batch_changes_no_figure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    histories = histories_of(40)
    as_of = int(histories.day.max())
    whole = assess_together(histories, as_of)
    monkeypatch.setattr(together, "BATCH", 7)
    parts = assess_together(histories, as_of)
    assert parts.pack_ids == whole.pack_ids == histories.pack_ids
    for one, other in zip(flat(parts), flat(whole), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-5, atol=1e-8)


def test_groups_assessed_at_once_do_not_touch_each_other() -> None:
    # Enough packs of some age that the young ones of the first group borrow.
    fleets = histories_of(60), histories_of(9, seed=4)
    both = Histories.from_rows(
        [name for fleet in fleets for name in fleet.pack_ids],
        pack=np.concatenate(
            [
                np.repeat(np.arange(60), np.diff(fleets[0].offsets)),
                60 + np.repeat(np.arange(9), np.diff(fleets[1].offsets)),
            ]
        ),
        day=np.concatenate([fleet.day for fleet in fleets]),
        full=np.concatenate([fleet.full for fleet in fleets]),
        design=np.concatenate([fleet.design for fleet in fleets]),
        cycles=np.concatenate([fleet.cycles for fleet in fleets]),
    )
    days = np.repeat([20_600, 20_560], [60, 9]).astype(np.int32)
    together_told = assess_groups(both, days, [60, 9])
    apart = [
        assess_together(fleet, day)
        for fleet, day in zip(fleets, (20_600, 20_560), strict=True)
    ]
    assert set(apart[0].fade_source.tolist()) >= {0, 2}
    for figures, rows in zip(apart, (np.arange(60), np.arange(60, 69)), strict=True):
        some = only_rows(together_told, rows)
        assert some.pack_ids == figures.pack_ids
        for one, other in zip(flat(some), flat(figures), strict=True):
            np.testing.assert_allclose(one, other, rtol=1e-5, atol=1e-8)


def test_every_pack_is_told_as_done() -> None:
    told: list[int] = []
    assess_together(histories_of(15), 20_000, advance=told.append)
    assert sum(told) == 15
