"""Make the pictures of pages that stand in README.md.

Run it from a checkout whose environment has the browser group installed:

    python deploy/picture.py

It starts a collector with the invented fleet in a folder of its own, signs in by the
link that the collector prints, and writes the files in deploy/pictures.
"""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import sync_playwright

FOLDER = Path(__file__).parent / "pictures"
PICTURES = {"alerts": "/", "laptop": "/laptops/1", "order": "/order"}
"""The page that each picture shows."""
WIDTH, HEIGHT = 1440, 1000
LARGEST_BYTES = 200_000
"""What a README may ask of whoever reads it. Own choice."""

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
START_S = 300
"""Longest that the collector may take to invent its fleet [s]."""
STOP_S = 20


def main() -> int:
    """Make the pictures; returns 1 when one is too large to keep."""
    with tempfile.TemporaryDirectory(prefix="fadewatch-picture-") as folder:
        port = free_port()
        collector = start(Path(folder), port)
        try:
            link = wait_for_link(Path(folder) / "output", collector)
            wait_until_ready(f"http://127.0.0.1:{port}/healthz")
            take(link, f"http://127.0.0.1:{port}")
        finally:
            collector.send_signal(signal.SIGTERM)
            collector.wait(STOP_S)
    sizes = {name: (FOLDER / f"{name}.png").stat().st_size for name in PICTURES}
    for name, size in sizes.items():
        print(f"{name}.png: {size} bytes")
    return int(max(sizes.values()) > LARGEST_BYTES)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
    return port


def start(folder: Path, port: int) -> subprocess.Popen[bytes]:
    """Start a collector with the invented fleet."""
    settings = {"FADEWATCH_DATA_FOLDER": str(folder), "FADEWATCH_PORT": str(port)}
    with (folder / "output").open("wb") as output:
        return subprocess.Popen(
            [sys.executable, "-m", "fadewatch_collector", "demo"],
            env={**os.environ, **settings, "PYTHONUNBUFFERED": "1"},
            stdout=output,
            stderr=subprocess.STDOUT,
        )


def wait_for_link(output: Path, collector: subprocess.Popen[bytes]) -> str:
    """Return the address that signs in once."""
    until = time.monotonic() + START_S
    while time.monotonic() < until and collector.poll() is None:
        found = re.search(r"http://\S+/sign-in/once\?token=\S+", output.read_text())
        if found:
            return found[0]
        time.sleep(0.5)
    raise SystemExit(f"the collector did not start:\n{output.read_text()[-2000:]}")


def wait_until_ready(address: str) -> None:
    """Wait until the collector answers."""
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        try:
            with urlopen(address, timeout=5):
                return
        except URLError:
            time.sleep(0.2)
    raise SystemExit(f"{address} does not answer")


def take(link: str, collector: str) -> None:
    """Sign in and keep what the screen shows of each page."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu"]
        )
        screen = browser.new_page(
            viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light"
        )
        screen.goto(link)
        screen.get_by_role("button", name="Sign in").click()
        screen.get_by_role("heading", name="Alerts", exact=True).wait_for()
        FOLDER.mkdir(exist_ok=True)
        for name, path in PICTURES.items():
            screen.goto(collector + path)
            screen.screenshot(path=FOLDER / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    sys.exit(main())
