"""What the application and a request carry, by typed keys."""

import asyncio
from collections.abc import Sequence
from typing import Protocol

from aiohttp import web

from fadewatch_collector.api.buckets import Buckets
from fadewatch_collector.api.limits import Limits
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases.intake import ReceivedReport, ReportStatus
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services


class IntakePort(Protocol):
    """Where received reports go."""

    async def store(
        self, laptop_id: int, reports: Sequence[ReceivedReport]
    ) -> list[ReportStatus]:
        """Store reports of one laptop; returns when they are durable."""
        ...


LIMITS = web.AppKey("LIMITS", Limits)
SERVICES = web.AppKey("SERVICES", Services)
ORDERS = web.AppKey("ORDERS", OrderLists)
INTAKE: web.AppKey[IntakePort] = web.AppKey("INTAKE")
REPORT_BUCKETS: web.AppKey[Buckets[int]] = web.AppKey("REPORT_BUCKETS")
ENROLMENT_BUCKETS: web.AppKey[Buckets[str]] = web.AppKey("ENROLMENT_BUCKETS")
EXPORT_PLACES = web.AppKey("EXPORT_PLACES", asyncio.Semaphore)
DESCRIPTION = web.AppKey("DESCRIPTION", bytes)

LAPTOP_ID = web.RequestKey("LAPTOP_ID", int)
AGENT_KEY = web.RequestKey("AGENT_KEY", str)
RENEW = web.RequestKey("RENEW", bool)
OPERATOR = web.RequestKey("OPERATOR", Operator)
QUERY = web.RequestKey("QUERY", object)
