"""About this collector: versions, store, queues and rounds."""

from aiohttp import web

from fadewatch_collector.usecases.about import standing
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

ABOUT = "/about"

ROUND_WORDS = {
    "assess-all": "Every pack is assessed",
    "keep-search-terms": "What laptops are found by is compared",
    "look-for-silent": "Silent laptops are looked for",
    "make-digests": "The day's digests are written",
}
"""What a round does; one that is not named here is shown by its own name."""


async def show_about(request: web.Request) -> web.Response:
    """Show how this collector stands."""
    return page(
        request,
        "about.html",
        standing=await standing(request.app[SERVICES]),
        round_words=ROUND_WORDS,
        settings=request.app[SERVICES].settings,
    )
