"""Which pages are looked at in a browser."""

import re

from fadewatch_collector.web.routes import PAGE_ROUTES
from tests.browser.addresses import BEFORE_SIGN_IN, PATHS

NO_PAGES = {
    "/live",
    "/find",
    "/laptops/{laptop_id}/held.json",
    "/sign-in/organisation",
    "/sign-in/organisation/back",
    "/sign-in/organisation/out",
}
"""What scripts ask for, files, and the way to an identity provider and back."""


def test_every_page_that_has_an_address_is_looked_at() -> None:
    """A page that is added later is to be added there too."""
    looked_at = [path.partition("?")[0] for path in (*PATHS, *BEFORE_SIGN_IN)]
    left_out = [
        route.path
        for route in PAGE_ROUTES
        if route.method == "GET"
        and route.path not in NO_PAGES
        and not route.path.startswith("/exports/")
        and not any(
            re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", route.path), path)
            for path in looked_at
        )
    ]

    assert left_out == []
