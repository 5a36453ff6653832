"""Bytes of a file as the importers get them."""

import io


def lines_of(data: bytes) -> io.StringIO | None:
    """Return the lines of a file as pages, API and commands read it; None if no text."""
    try:
        return io.StringIO(data.decode("utf-8-sig"), newline="")
    except UnicodeDecodeError:
        return None
