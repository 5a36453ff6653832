"""About this collector: versions, store, queues and rounds."""

from aiohttp import web

from fadewatch_collector.usecases.about import standing
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

ABOUT = "/about"

ROUND_WORDS = {
    "assess-all": "Every pack is assessed",
    "keep-search-terms": "What laptops are found by is compared",
    "keep-months": "Months for readings are made ready (PostgreSQL)",
    "clear-out": "What was kept for long enough is deleted",
    "look-for-silent": "Silent laptops are looked for",
    "make-digests": "The day's digests are written",
    "tell-charging-habits": "How packs are charged is told",
    "keep-forecasts": "The month's forecasts are kept, and old ones looked at",
    "sum-up-fleet": "The fleet is summed up",
}
"""What a round does."""


async def show_about(request: web.Request) -> web.Response:
    """Show how this collector stands."""
    return page(
        request,
        "about.html",
        standing=await standing(request.app[SERVICES]),
        round_words=ROUND_WORDS,
        settings=request.app[SERVICES].settings,
    )
