"""Where the pages keep what they share."""

import asyncio

from aiohttp import web
from jinja2 import Environment

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases.alert_news import AlertNews
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.organisation import IdentityProvider
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.limits import SignInLimits, TokenBuckets
from fadewatch_collector.web.signing import Signing
from fadewatch_collector.web.static import StaticFiles

SERVICES = web.AppKey("page_services", Services)
ORDERS = web.AppKey("page_orders", OrderLists)
TEMPLATES = web.AppKey("page_templates", Environment)
STATIC = web.AppKey("page_static", StaticFiles)
SIGNING = web.AppKey("page_signing", Signing)
LIMITS = web.AppKey("page_limits", SignInLimits)
INSPECT_LIMIT = web.AppKey("page_inspect_limit", TokenBuckets)
NEWS = web.AppKey("page_news", AlertNews)
PROVIDER: web.AppKey[IdentityProvider | None] = web.AppKey("page_provider")
DOWNLOADS = web.AppKey("page_downloads", asyncio.Semaphore)

OPERATOR = web.RequestKey("page_operator", Operator)
"""Who is signed in; missing when nobody is."""

SESSION = web.RequestKey("page_session", str)
"""The token of the session that the request belongs to; missing without one."""
