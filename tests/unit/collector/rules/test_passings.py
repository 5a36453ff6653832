from datetime import date

from fadewatch_collector.rules.passings import settle_passings

MARCH, APRIL = date(2026, 3, 4), date(2026, 4, 9)


def test_a_first_passing_is_new_and_keeps_its_day_when_noise_moves_it() -> None:
    first = settle_passings(0.304, {0.3: MARCH}, {}, 0.01)
    later = settle_passings(0.312, {0.3: APRIL}, {0.3: MARCH}, 0.01)

    assert first.new == {0.3: MARCH}
    assert (later.new, later.withdrawn) == ({}, frozenset())


def test_wear_just_below_the_threshold_withdraws_nothing() -> None:
    within = settle_passings(0.291, {}, {0.3: MARCH}, 0.01)
    below = settle_passings(0.289, {}, {0.3: MARCH}, 0.01)

    assert within.withdrawn == frozenset()
    assert below.withdrawn == {0.3}


def test_a_pack_of_unknown_wear_changes_nothing() -> None:
    changes = settle_passings(None, {}, {0.3: MARCH}, 0.01)

    assert (changes.new, changes.withdrawn) == ({}, frozenset())


def test_each_threshold_stands_for_itself() -> None:
    changes = settle_passings(0.27, {0.25: APRIL}, {0.3: MARCH}, 0.01)

    assert changes.new == {0.25: APRIL}
    assert changes.withdrawn == {0.3}
