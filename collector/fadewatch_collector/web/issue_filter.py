"""Which laptops the address asks about, and for how many years of service."""

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.policy_scopes import LIMITS
from fadewatch_collector.usecases.bench_check import CheckFilter
from fadewatch_collector.web.alert_list import site_of
from fadewatch_common.bench.verdict import VERDICTS


def issue_filter(request: web.Request) -> CheckFilter:
    """Return the filter of an address.

    Raises
    ------
    InvalidRequest
        It names no verdict that there is, or years that cannot be.
    """
    verdict = request.query.get("verdict") or None
    found = next((one for one in VERDICTS if one == verdict), None)
    if verdict is not None and found is None:
        raise InvalidRequest(f"the verdict in the address is none of {VERDICTS}")
    return CheckFilter(
        site=site_of(request.query.get("site")),
        verdict=found,
        service_years=years_of(request),
    )


def years_of(request: web.Request) -> float | None:
    """Return the years of service in an address; None: those of the policy.

    Raises
    ------
    InvalidRequest
        They are no number, or out of range.
    """
    text = (request.query.get("years") or "").strip()
    if not text:
        return None
    low, high = LIMITS["service_years"]
    try:
        years = float(text.replace(",", "."))
    except ValueError as error:
        raise InvalidRequest(f"{text[:20]!r} is no number of years") from error
    if not low <= years <= high:
        raise InvalidRequest(f"years of service go from {low:g} to {high:g}")
    return years
