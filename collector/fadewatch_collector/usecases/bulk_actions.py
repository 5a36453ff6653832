"""The same act for several alerts at once, each with the version that was seen."""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound

MOST = 200
"""Alerts changed by one form at most [count]. Own choice."""

Act = Callable[[int, int], Awaitable[None]]
"""Does it to one alert, by its number and version."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it: how many were changed, and why the others were not."""

    done: int
    refused: Sequence[tuple[int, str]]


async def act_on_each(chosen: Mapping[int, int], act: Act) -> Outcome:
    """Do one thing to each chosen alert; one that refuses never stops the others.

    Parameters
    ----------
    chosen
        The version that the person saw, by the alert's number.

    Raises
    ------
    InvalidRequest
        None was chosen, too many were, or what was asked makes no sense for any.
    """
    if not chosen:
        raise InvalidRequest("choose at least one alert")
    if len(chosen) > MOST:
        raise InvalidRequest(f"choose at most {MOST} alerts at a time")
    refused: list[tuple[int, str]] = []
    for number, version in sorted(chosen.items()):
        try:
            await act(number, version)
        except (Conflict, NotFound) as error:
            refused.append((number, str(error)))
    return Outcome(len(chosen) - len(refused), refused)
