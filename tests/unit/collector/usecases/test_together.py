from dataclasses import fields, is_dataclass
from datetime import date

import numpy as np
import pytest

from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.simulation.arrivals import as_arrived
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.usecases import together
from fadewatch_collector.usecases.together import assess_together, select

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


def test_nothing_later_than_the_day_is_selected() -> None:
    histories = histories_of(12)
    until = int(np.median(histories.day))
    chosen = select(histories, np.arange(12), until=until)
    assert chosen.day.max() <= until
    assert chosen.day.size == (histories.day <= until).sum()


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


def test_every_pack_is_told_as_done() -> None:
    told: list[int] = []
    assess_together(histories_of(15), 20_000, advance=told.append)
    assert sum(told) == 15
