"""What a comparison of pack types says, in sentences that a buyer can be told."""

from collections.abc import Iterator

from fadewatch_collector.rules.compared_types import CERTAINTIES, ComparedGroup
from fadewatch_collector.rules.reasons import percent


def group_name(group: ComparedGroup) -> str:
    """Name a type, or a batch of it."""
    return group.name if group.made is None else f"{group.name}, made in {group.made}"


def group_sentences(group: ComparedGroup) -> list[str]:
    """Say how a group differs, and how sure that is."""
    return [*_fade(group), *_lives(group), *_sure(group)]


def _others(group: ComparedGroup) -> str:
    return "all other packs" if group.made is None else "other packs of the type"


def _fade(group: ComparedGroup) -> Iterator[str]:
    if (
        group.fade_ratio is None
        or group.fade_ratio_low is None
        or group.fade_ratio_high is None
        or group.fade_per_month is None
        or group.other_fade_per_month is None
    ):
        return
    age = "of the same age" if group.same_age else "of any age, as none is of theirs"
    yield (
        f"They lose {100 * group.fade_per_month:.2f} % of design a month, "
        f"{_others(group)} {100 * group.other_fade_per_month:.2f} %: "
        f"{group.fade_ratio:.1f} times as much "
        f"[{group.fade_ratio_low:.1f} to {group.fade_ratio_high:.1f}] as others {age} "
        f"({group.fade_packs} packs against {group.other_fade_packs})."
    )


def _lives(group: ComparedGroup) -> Iterator[str]:
    if group.expected is None:
        return
    wear = percent(group.threshold)
    since = "of age" if group.lives_axis == "age" else "after they were first seen"
    if group.median_years is not None:
        yield (
            f"Half of them pass {wear} wear by {_age(group)} years {since}; of "
            f"{_others(group)} {_other_half(group)}."
        )
    elif group.gone and group.other_gone is not None:
        yield (
            f"By {group.at_years:.1f} years {since} {100 * group.gone:.0f} % of them had "
            f"passed {wear} wear, of {_others(group)} {100 * group.other_gone:.0f} %."
        )
    yield (
        f"{group.passed} of {group.lives_packs} have passed {wear} wear so far, where "
        f"{group.expected:.1f} would be expected if they were like {_others(group)}."
    )


def _age(group: ComparedGroup) -> str:
    low, high = group.median_low_years, group.median_high_years
    ends = [f"{low:.1f}" if low is not None else "?"]
    ends.append(f"to {high:.1f}" if high is not None else "or later")
    return f"{group.median_years:.1f} [{' '.join(ends)}]"


def _other_half(group: ComparedGroup) -> str:
    if group.other_median_years is None:
        return "fewer than half have so far"
    return f"half by {group.other_median_years:.1f} years"


def _sure(group: ComparedGroup) -> Iterator[str]:
    for _, word, fleets in CERTAINTIES:
        if word == group.certainty:
            yield (
                f"{word.capitalize()}: were all packs alike, chance would show such a "
                f"difference anywhere among the {group.comparisons} comparisons made in "
                f"fewer than 1 of {fleets} fleets."
            )
