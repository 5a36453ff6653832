"""Behind a trusted proxy each client counts for itself; nobody else can pretend."""

from dataclasses import replace
from http.cookies import SimpleCookie
from itertools import cycle

from fadewatch_collector.api.setup import DEFAULT_LIMITS, Rate
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.limits import INSPECT_BURST
from tests.integration.api_service import ApiService, running_api
from tests.integration.pages_service import Pages, running_pages
from tests.integration.proxied import behind_proxy

TWO_ENROLMENTS = replace(DEFAULT_LIMITS, enrolments=Rate(burst=2, per_second=0.001))


async def enrol_from(api: ApiService, forwarded_for: str) -> int:
    headers = {"X-Forwarded-For": forwarded_for}
    return (await api.ask("POST", "/enrol", headers=headers, json={})).status


async def test_enrolments_count_by_the_clients_address(services: Services) -> None:
    async with running_api(behind_proxy(services), TWO_ENROLMENTS) as api:
        first = [await enrol_from(api, "203.0.113.9") for _ in range(3)]
        other = await enrol_from(api, "203.0.113.10")

    assert first == [400, 400, 429]
    assert other == 400


async def test_a_client_behind_the_proxy_cannot_count_as_another(
    services: Services,
) -> None:
    invented = cycle(["198.51.100.1", "198.51.100.2", "127.0.0.1"])
    async with running_api(behind_proxy(services), TWO_ENROLMENTS) as api:
        seen = [
            await enrol_from(api, f"{next(invented)}, 203.0.113.9") for _ in range(3)
        ]

    assert seen == [400, 400, 429]


async def test_a_client_before_no_proxy_cannot_count_as_another(
    services: Services,
) -> None:
    async with running_api(services, TWO_ENROLMENTS) as api:
        seen = [await enrol_from(api, f"203.0.113.{n}") for n in range(3)]

    assert seen == [400, 400, 429]


async def test_visits_to_links_of_holders_count_by_the_clients_address(
    services: Services,
) -> None:
    async with running_pages(behind_proxy(services)) as pages:
        for _ in range(INSPECT_BURST):
            await look(pages, "203.0.113.9")
        last = await look(pages, "198.51.100.1, 203.0.113.9")
        other = await look(pages, "203.0.113.10")

    assert last == 429
    assert other == 404


async def look(pages: Pages, forwarded_for: str) -> int:
    answer = await pages.get("/inspect/fwi_x", {"X-Forwarded-For": forwarded_for})
    return answer.status


NOT_FROM_HERE = "was not sent from a page that is open in this browser"

HTTPS = {
    "X-Forwarded-For": "203.0.113.9",
    "X-Forwarded-Proto": "https",
    "X-Forwarded-Host": "collector.example",
}


async def test_what_the_browser_asked_by_https_is_bound_to_it(
    services: Services,
) -> None:
    async with running_pages(behind_proxy(services)) as pages:
        shown = await pages.get("/sign-in", HTTPS)
        cookie = visit_cookie(shown.headers["Set-Cookie"])
        form = {"form_token": shown.field("form_token"), "name": "no", "password": "no"}
        carried = HTTPS | {"Cookie": cookie}
        own = await pages.post(
            "/sign-in", form, carried | {"Origin": "https://collector.example"}
        )
        other = await pages.post(
            "/sign-in", form, carried | {"Origin": "http://collector.example"}
        )

    assert cookie.startswith("__Host-")
    assert "Secure" in shown.headers["Set-Cookie"]
    assert "max-age" in shown.headers["Strict-Transport-Security"]
    assert NOT_FROM_HERE not in own.texts
    assert NOT_FROM_HERE in other.texts


async def test_https_is_believed_of_nobody_but_a_trusted_proxy(
    services: Services,
) -> None:
    async with running_pages(services) as pages:
        shown = await pages.get("/sign-in", HTTPS)

    assert "Secure" not in shown.headers["Set-Cookie"]
    assert "Strict-Transport-Security" not in shown.headers


def visit_cookie(header: str) -> str:
    ((name, morsel),) = SimpleCookie(header).items()
    return f"{name}={morsel.value}"
