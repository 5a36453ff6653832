"""What every use case works with, put together once for the service or a command."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import Store, open_store
from fadewatch_common.policy import DEFAULT_POLICY, Policy


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


def open_services(settings: Settings) -> Services:
    """Open what the settings name; nothing is connected yet.

    It stands here and not in ``app`` so that a command starts without the service's
    web framework.
    """
    return Services(
        store=open_store(settings.store_url),
        settings=settings,
        policy=DEFAULT_POLICY,
        clock=lambda: datetime.now(UTC),
    )
