"""Types and batches of invented packs, held against each other."""

import tracemalloc
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fadewatch_collector.analysis.compared import Watched
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.compared_types import (
    ComparedGroup,
    compare_types,
    quarter_days,
    quarter_words,
)
from fadewatch_collector.rules.compared_words import group_name, group_sentences

NAMES = [("k|a", "Callow A"), ("k|b", "Callow B"), ("k|c", "Callow C")]
DAY_2023 = (date(2023, 1, 10) - date(1970, 1, 1)).days


def fleet(seed: int, factor: np.ndarray, made: np.ndarray | None = None) -> Watched:
    """Packs watched for two years from half a year of age on; factors on their fade."""
    rng = np.random.default_rng(seed)
    count = factor.size
    born = np.full(count, float(DAY_2023)) if made is None else made
    fade = 0.008 * rng.lognormal(0, 0.2, count) * factor
    passed = born + 0.3 / fade * 30.4
    last = born + 1000.0
    return Watched(
        made=born,
        first_seen=born + 180,
        last_seen=last,
        passed=np.where(passed <= last, passed, np.nan),
        known=np.ones(count, bool),
        fade=fade,
    )


def by_name(found: list[ComparedGroup]) -> dict[str, ComparedGroup]:
    return {group_name(group): group for group in found}


def test_a_fast_type_is_named_first_and_the_others_are_left_in_peace() -> None:
    kinds = np.repeat([0, 1, 2], [30, 12, 30])
    found = compare_types(fleet(1, np.where(kinds == 1, 2.0, 1.0)), kinds, NAMES, 0.3)

    assert group_name(found[0]) == "Callow B"
    assert (found[0].verdict, found[0].certainty) == ("fast", "very sure")
    assert found[0].fade_ratio is not None
    assert found[0].fade_ratio == pytest.approx(2.0, abs=0.35)
    assert found[0].passed > 2 * (found[0].expected or 0)
    assert {g.verdict for g in found[1:] if g.made is None} <= {"like others", "slow"}


def test_a_fast_batch_is_seen_within_a_type_that_is_like_the_others() -> None:
    kinds = np.repeat([0, 1], [40, 60])
    made = np.full(100, float(DAY_2023))
    made[40:50] += 91.0
    factor = np.ones(100)
    factor[40:50] = 1.8

    found = by_name(compare_types(fleet(2, factor, made), kinds, NAMES[:2], 0.3))

    batch = found["Callow B, made in 2023-Q2"]
    assert batch.verdict == "fast"
    assert "Callow B, made in 2023-Q1" in found
    assert "Callow A, made in 2023-Q1" not in found


def test_alike_types_raise_no_word_in_nearly_every_fleet() -> None:
    """Holm holds the chance of any false word in a fleet to 5 %, over all comparisons."""
    kinds = np.arange(60) % 3
    false = sum(
        any(
            group.verdict == "fast"
            for group in compare_types(
                fleet(100 + seed, np.ones(60)), kinds, NAMES, 0.3
            )
        )
        for seed in range(40)
    )

    assert false <= 5


def test_a_slower_type_is_called_slow_and_raises_no_alarm() -> None:
    kinds = np.repeat([0, 1], [40, 15])
    found = by_name(
        compare_types(fleet(4, np.where(kinds == 1, 0.5, 1.0)), kinds, NAMES[:2], 0.3)
    )

    assert found["Callow B"].verdict == "slow"


def test_few_packs_are_said_to_be_too_few() -> None:
    kinds = np.repeat([0, 1], [40, 4])
    found = by_name(compare_types(fleet(5, np.ones(44)), kinds, NAMES[:2], 0.3))

    assert found["Callow B"].verdict == "too few"
    assert group_sentences(found["Callow B"]) == []


def test_the_sentences_say_how_much_how_many_and_how_sure() -> None:
    group = ComparedGroup(
        key="k|b",
        name="Callow B",
        made=None,
        packs=12,
        threshold=0.3,
        verdict="fast",
        certainty="sure",
        comparisons=8,
        lives_axis="age",
        lives_packs=11,
        passed=7,
        expected=2.4,
        other_lives_packs=60,
        other_passed=9,
        since_years=0.0,
        median_years=2.1,
        median_low_years=1.8,
        median_high_years=None,
        other_median_years=3.4,
        fade_packs=12,
        other_fade_packs=55,
        fade_per_month=0.0131,
        other_fade_per_month=0.0062,
        fade_ratio=1.94,
        fade_ratio_low=1.62,
        fade_ratio_high=2.23,
        same_age=True,
    )

    assert group_sentences(group) == [
        (
            "They lose 1.31 % of design a month, all other packs 0.62 %: 1.9 times as much "
            "[1.6 to 2.2] as others of the same age (12 packs against 55)."
        ),
        (
            "Half of them pass 30 % wear by 2.1 [1.8 or later] years of age; of all other "
            "packs half by 3.4 years."
        ),
        (
            "7 of 11 have passed 30 % wear so far, where 2.4 would be expected if they were like all "
            "other packs."
        ),
        (
            "Sure: were all packs alike, chance would show such a difference anywhere among "
            "the 8 comparisons made in fewer than 1 of 100 fleets."
        ),
    ]


@pytest.mark.parametrize(
    ("words", "first", "last"),
    [
        ("2024-Q1", date(2024, 1, 1), date(2024, 3, 31)),
        ("2024-Q4", date(2024, 10, 1), date(2024, 12, 31)),
    ],
)
def test_a_quarter_has_its_days(words: str, first: date, last: date) -> None:
    assert quarter_days(words) == (first, last)
    assert quarter_words(first.year * 4 + (first.month - 1) // 3) == words


@pytest.mark.parametrize("words", ["", "2024-Q5", "24-Q1", "9999-Q4", "2024-Q1 "])
def test_anything_else_is_no_quarter(words: str) -> None:
    with pytest.raises(InvalidRequest, match="2024-Q3"):
        quarter_days(words)


def test_a_type_of_which_no_pack_is_left_is_not_told() -> None:
    kinds = np.repeat([0, 2], [30, 30])

    found = compare_types(fleet(4, np.ones(60)), kinds, NAMES, 0.3)

    assert {group.key for group in found} == {"k|a", "k|c"}


def test_medians_are_said_with_what_is_known_of_their_limits_and_of_the_others() -> (
    None
):
    group = ComparedGroup(
        key="k|a",
        name="Callow A",
        made=None,
        packs=12,
        threshold=0.3,
        verdict="fast",
        certainty="sure",
        comparisons=3,
        lives_axis="age",
        lives_packs=12,
        passed=8,
        expected=3.5,
        median_years=2.1,
        median_low_years=1.8,
        other_lives_packs=40,
    )

    one_sided = " ".join(group_sentences(group))
    both = " ".join(
        group_sentences(
            replace(
                group, median_high_years=2.6, other_median_years=3.4, made="2023-Q1"
            )
        )
    )

    assert "by 2.1 [1.8 or later] years of age" in one_sided
    assert "of all other packs fewer than half have so far" in one_sided
    assert "by 2.1 [1.8 to 2.6] years of age" in both
    assert "of other packs of the type half by 3.4 years" in both


def test_before_half_have_passed_the_parts_that_have_are_said() -> None:
    group = ComparedGroup(
        key="k|a",
        name="Callow A",
        made=None,
        packs=20,
        threshold=0.3,
        verdict="fast",
        certainty="likely",
        comparisons=3,
        lives_axis="since first seen",
        lives_packs=20,
        passed=6,
        expected=2.5,
        at_years=1.5,
        gone=0.31,
        other_gone=0.12,
    )

    said = " ".join(group_sentences(group))

    assert "By 1.5 years after they were first seen 31 % of them had passed" in said
    assert "of all other packs 12 %" in said
    nothing_yet = group_sentences(replace(group, gone=0.0, other_gone=None))
    assert not any("had passed" in one for one in nothing_yet)


def test_many_groups_are_not_all_held_in_memory_at_once() -> None:
    count, kinds = 6_000, 40
    chance = np.random.default_rng(4)
    made = chance.integers(18_000, 18_700, count).astype(float)
    packs = Watched(
        made=made,
        first_seen=made + 30,
        last_seen=np.full(count, 20_000.0),
        passed=np.where(chance.random(count) < 0.3, made + 700, np.nan),
        known=np.ones(count, dtype=bool),
        # Fades take long to compare, and what is kept of a group is the same.
        fade=np.full(count, np.nan),
    )
    names = [(str(kind), str(kind)) for kind in range(kinds)]
    tracemalloc.start()
    found = compare_types(packs, chance.integers(0, kinds, count), names, 0.3)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert len(found) > 300
    # Which packs belong to a group, and to its others, takes two bytes a pack.
    assert peak < 2 * count * len(found)
