"""Rate limits: one bucket of tokens for each caller."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from fadewatch_collector.errors import TooManyAttempts

CALLERS_KEPT = 10_000
"""Buckets in memory; past it the one used longest ago is forgotten. Own choice."""

Caller = TypeVar("Caller", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Rate:
    """How often one caller may call.

    Attributes
    ----------
    burst
        Calls at once by a caller who was quiet [count].
    per_second
        Calls that come back each second [1/s].
    """

    burst: float
    per_second: float


@dataclass(slots=True)
class _Bucket:
    tokens: float
    at: datetime


class Buckets(Generic[Caller]):
    """A bucket of tokens for each caller, refilled by the clock it is given."""

    def __init__(
        self,
        what: str,
        rate: Rate,
        clock: Callable[[], datetime],
        most: int = CALLERS_KEPT,
    ) -> None:
        self._what = what
        self._rate = rate
        self._clock = clock
        self._most = most
        self._buckets: OrderedDict[Caller, _Bucket] = OrderedDict()

    def take(self, caller: Caller) -> None:
        """Take one token.

        Raises
        ------
        TooManyAttempts
            The caller's bucket is empty.
        """
        bucket = self._refilled(caller)
        if bucket.tokens < 1:
            wait_s = (1 - bucket.tokens) / self._rate.per_second
            raise TooManyAttempts(self._what, wait_s)
        bucket.tokens -= 1

    def _refilled(self, caller: Caller) -> _Bucket:
        now = self._clock()
        bucket = self._buckets.setdefault(caller, _Bucket(self._rate.burst, now))
        self._buckets.move_to_end(caller)
        if len(self._buckets) > self._most:
            self._buckets.popitem(last=False)
        # A clock that was set back must not take tokens away.
        passed_s = max(0.0, (now - bucket.at).total_seconds())
        gained = passed_s * self._rate.per_second
        bucket.tokens = min(self._rate.burst, bucket.tokens + gained)
        bucket.at = now
        return bucket
