"""Services as they are behind a reverse proxy on the loopback address."""

from dataclasses import replace
from ipaddress import ip_network

from fadewatch_collector.usecases.services import Services


def behind_proxy(services: Services) -> Services:
    """Return services that believe what comes from the loopback address."""
    settings = services.settings.model_copy(
        update={"trusted_proxies": (ip_network("127.0.0.1"),)}
    )
    return replace(services, settings=settings)
