"""What tests in a real browser share."""

from pathlib import Path

import pytest
from playwright.async_api import Page

from tests.integration.pages_service import NAME, PASSWORD

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

TOO_WIDE = "document.documentElement.scrollWidth - window.innerWidth"

IN_A_BROWSER = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not CHROMIUM.exists(), reason=f"no browser: {CHROMIUM} is not installed"
    ),
]


async def sign_in(page: Page) -> None:
    """Sign in by name and password."""
    await page.goto("/")
    await page.get_by_label("Name").fill(NAME)
    await page.get_by_label("Password").fill(PASSWORD)
    await page.get_by_role("button", name="Sign in").click()
    await page.get_by_role("heading", name="Alerts", exact=True).wait_for()


async def opened(page: Page, name: str) -> None:
    """Unfold a part of the page."""
    await page.locator("summary", has_text=name).first.click()


async def bring(page: Page, content: bytes) -> None:
    """Choose a CSV file on the page."""
    await page.get_by_label("CSV file").set_input_files(
        {"name": "f.csv", "mimeType": "text/csv", "buffer": content}
    )
