"""What every use case works with, put together once in ``app``."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import Store
from fadewatch_common.policy import Policy


@dataclass(frozen=True, slots=True)
class Services:
    """The store, the time, the settings and the policy in force.

    Attributes
    ----------
    clock
        Returns the present moment, aware, in UTC.
    """

    store: Store
    settings: Settings
    policy: Policy
    clock: Callable[[], datetime]
