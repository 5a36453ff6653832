"""What the application and a request carry, by typed keys."""

import asyncio
from collections.abc import Sequence
from typing import Protocol

from aiohttp import web

from fadewatch_collector.api.buckets import Buckets
from fadewatch_collector.api.limits import Limits
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases.intake import Receipt, ReceivedReport
from fadewatch_collector.usecases.known_keys import KnownKey, KnownKeys
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services


class IntakePort(Protocol):
    """Where received reports go."""

    async def receive(
        self, key: KnownKey, reports: Sequence[ReceivedReport]
    ) -> Receipt:
        """Store reports that came with a key; returns when they are durable."""
        ...


LIMITS = web.AppKey("LIMITS", Limits)
KNOWN_KEYS = web.AppKey("KNOWN_KEYS", KnownKeys)
SERVICES = web.AppKey("SERVICES", Services)
ORDERS = web.AppKey("ORDERS", OrderLists)
INTAKE: web.AppKey[IntakePort] = web.AppKey("INTAKE")
REPORT_BUCKETS: web.AppKey[Buckets[int]] = web.AppKey("REPORT_BUCKETS")
ENROLMENT_BUCKETS: web.AppKey[Buckets[str]] = web.AppKey("ENROLMENT_BUCKETS")
OPERATOR_BUCKETS: web.AppKey[Buckets[int]] = web.AppKey("OPERATOR_BUCKETS")
EXPORT_PLACES = web.AppKey("EXPORT_PLACES", asyncio.Semaphore)
DESCRIPTION = web.AppKey("DESCRIPTION", bytes)

LAPTOP_ID = web.RequestKey("LAPTOP_ID", int)
AGENT_KEY = web.RequestKey("AGENT_KEY", str)
OPERATOR = web.RequestKey("OPERATOR", Operator)
QUERY = web.RequestKey("QUERY", object)
