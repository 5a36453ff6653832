"""What certificates of other sides are trusted."""

import ssl
from pathlib import Path

from fadewatch_collector.errors import InvalidRequest


def trust(private_ca: Path | None) -> ssl.SSLContext:
    """Trust the system's authorities, and the organisation's own beside them.

    Raises
    ------
    InvalidRequest
        The file holds no certificate.
    """
    context = ssl.create_default_context()
    if private_ca is not None:
        try:
            context.load_verify_locations(private_ca)
        except ssl.SSLError as problem:
            raise InvalidRequest(f"{private_ca} holds no certificate") from problem
    return context
