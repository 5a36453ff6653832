"""Signing in and out through the pages."""

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from http.cookies import SimpleCookie

import pytest

from fadewatch_collector.settings import Settings
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.limits import ACCOUNT_BURST, ACCOUNT_EVERY_S
from tests.fakes.clock import StandingClock
from tests.integration.pages_service import NAME, PASSWORD, Page, Pages, running_pages


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as pages:
        yield pages


@pytest.fixture
async def operator(services: Services) -> accounts.Operator:
    return await accounts.add_operator(services, NAME, "technician", PASSWORD)


def cookies(page: Page) -> SimpleCookie:
    found = SimpleCookie()
    for line in page.headers.getall("Set-Cookie", []):
        found.load(line)
    return found


def is_signed_in(page: Page) -> bool:
    return page.status == 200 and bool(page.all("form", action="/sign-out"))


@pytest.mark.usefixtures("operator")
async def test_name_and_password_open_a_session(pages: Pages) -> None:
    answer = await pages.try_sign_in(" Mira", PASSWORD)

    assert (answer.status, answer.headers["Location"]) == (303, "/")
    assert is_signed_in(await pages.get("/"))


@pytest.mark.usefixtures("operator")
@pytest.mark.parametrize(
    ("name", "password"), [(NAME, "three boats on a lane"), ("nobody", PASSWORD)]
)
async def test_wrong_name_and_wrong_password_are_not_told_apart(
    pages: Pages, name: str, password: str
) -> None:
    answer = await pages.try_sign_in(name, password)

    assert answer.status == 403
    assert answer.one("p", role="alert").text == ("The name or the password is wrong.")
    assert not is_signed_in(await pages.get("/"))


async def test_a_disabled_operator_cannot_sign_in(
    pages: Pages, services: Services, operator: accounts.Operator
) -> None:
    await accounts.disable_operator(services, operator.name)

    assert (await pages.try_sign_in(NAME, PASSWORD)).status == 403


async def test_disabling_an_operator_ends_the_open_session(
    pages: Pages, services: Services
) -> None:
    await pages.sign_in()
    await accounts.disable_operator(services, NAME)

    assert (await pages.get("/")).url.path == "/sign-in"


@pytest.mark.usefixtures("operator")
async def test_too_many_tries_for_an_account_have_to_wait(
    pages: Pages, clock: StandingClock
) -> None:
    for _ in range(ACCOUNT_BURST):
        assert (await pages.try_sign_in(NAME, "x")).status == 403

    refused = await pages.try_sign_in(NAME, PASSWORD)
    clock.move(timedelta(seconds=ACCOUNT_EVERY_S))
    later = await pages.try_sign_in(NAME, PASSWORD)

    assert (refused.status, refused.headers["Retry-After"]) == (429, "60")
    assert later.status == 303


@pytest.mark.usefixtures("operator")
async def test_a_stranger_cannot_shut_out_who_signed_in_from_this_browser_before(
    pages: Pages,
) -> None:
    assert (await pages.try_sign_in(NAME, PASSWORD)).status == 303
    pages.be("fws_ended")
    async with pages.stranger() as stranger:
        statuses = [(await stranger.try_sign_in(NAME, "x")).status for _ in range(30)]

    assert statuses[-1] == 429
    assert (await pages.try_sign_in(NAME, PASSWORD)).status == 303


@pytest.mark.usefixtures("operator")
async def test_a_browser_known_to_one_account_is_not_to_another(
    pages: Pages, services: Services
) -> None:
    await accounts.add_operator(services, "kim", "viewer", PASSWORD)
    assert (await pages.try_sign_in("kim", PASSWORD)).status == 303
    pages.be("fws_ended")

    for _ in range(ACCOUNT_BURST):
        assert (await pages.try_sign_in(NAME, "x")).status == 403

    async with pages.stranger() as stranger:
        assert (await stranger.try_sign_in(NAME, PASSWORD)).status == 429


@pytest.mark.usefixtures("operator")
async def test_the_limit_counts_spellings_of_a_name_as_one(pages: Pages) -> None:
    for spelling in ("mira", "Mira", "MIRA ", " mira", "miRA"):
        assert (await pages.try_sign_in(spelling, "x")).status == 403

    assert (await pages.try_sign_in(NAME, PASSWORD)).status == 429


@pytest.mark.usefixtures("operator")
async def test_sign_in_goes_on_to_the_page_that_was_asked_for(pages: Pages) -> None:
    form = await pages.get("/laptops?site=Old%20Mill")
    answer = await pages.post(
        "/sign-in",
        {
            "form_token": form.field("form_token"),
            "next": form.field("next"),
            "name": NAME,
            "password": PASSWORD,
        },
    )

    assert answer.headers["Location"] == "/laptops?site=Old%20Mill"


@pytest.mark.usefixtures("operator")
async def test_sign_in_does_not_lead_to_another_site(pages: Pages) -> None:
    token = (await pages.get("/sign-in")).field("form_token")
    answer = await pages.post(
        "/sign-in",
        {
            "form_token": token,
            "next": "//elsewhere.example/",
            "name": NAME,
            "password": PASSWORD,
        },
    )

    assert answer.headers["Location"] == "/"


@pytest.mark.usefixtures("operator")
async def test_the_session_cookie_is_closed_to_scripts_and_other_sites(
    pages: Pages, services: Services
) -> None:
    cookie = cookies(await pages.try_sign_in(NAME, PASSWORD))["fadewatch-session"]

    assert cookie["httponly"] is True
    assert cookie["samesite"] == "Lax"
    assert cookie["path"] == "/"
    assert not cookie["secure"]
    assert int(cookie["max-age"]) == services.settings.session_hours * 3600


@pytest.mark.usefixtures("operator")
async def test_behind_https_the_cookie_is_secure_and_bound_to_the_host(
    services: Services,
) -> None:
    settings = Settings(
        data_folder=services.settings.data_folder,
        public_url="https://collector.example",
    )
    async with running_pages(replace(services, settings=settings)) as pages:
        shown = await pages.get("/sign-in")
        visit = cookies(shown)["__Host-fadewatch-visit"]
        answer = await pages.post(
            "/sign-in",
            {
                "form_token": shown.field("form_token"),
                "name": NAME,
                "password": PASSWORD,
            },
            # The test's client keeps no secure cookie of a plain connection.
            {
                "Cookie": f"__Host-fadewatch-visit={visit.value}",
                "Origin": "https://collector.example",
            },
        )

    cookie = cookies(answer)["__Host-fadewatch-session"]
    assert cookie["secure"] is True
    assert not cookie["domain"]
    assert "max-age" in answer.headers["Strict-Transport-Security"]


async def test_a_session_expires(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    await pages.sign_in()
    for _ in range(int(2 * services.settings.session_hours) - 1):
        clock.move(timedelta(minutes=30))
        await pages.get("/about")
    clock.move(timedelta(minutes=30, seconds=-1))
    before = await pages.get("/")
    clock.move(timedelta(seconds=1))
    after = await pages.get("/")

    assert is_signed_in(before)
    assert after.url.path == "/sign-in"


async def test_signing_out_ends_the_session_for_every_copy_of_the_cookie(
    pages: Pages,
) -> None:
    session = await pages.sign_in()
    token = (await pages.get("/")).field("form_token")

    answer = await pages.post("/sign-out", {"form_token": token})
    pages.be(session)

    assert answer.headers["Location"] == "/sign-in"
    assert not is_signed_in(await pages.get("/"))


async def test_a_new_sign_in_ends_the_session_the_browser_had(
    pages: Pages, services: Services, operator: accounts.Operator
) -> None:
    old = await accounts.open_session(services, operator)
    pages.be(old)
    token = (await pages.get("/")).field("form_token")

    await pages.post(
        "/sign-in", {"form_token": token, "name": NAME, "password": PASSWORD}
    )

    assert await accounts.operator_of_session(services, old) is None
    assert is_signed_in(await pages.get("/"))


async def test_a_changed_cookie_is_no_session(pages: Pages) -> None:
    session = await pages.sign_in()
    pages.client.session.cookie_jar.update_cookies(
        {"fadewatch-session": f"session:{session}.forged"}, pages.client.make_url("/")
    )

    assert not is_signed_in(await pages.get("/"))


async def test_a_visit_cookie_under_the_session_s_name_is_no_session(
    pages: Pages,
) -> None:
    visit = cookies(await pages.get("/sign-in"))["fadewatch-visit"].value
    pages.client.session.cookie_jar.update_cookies(
        {"fadewatch-session": visit}, pages.client.make_url("/")
    )

    assert not is_signed_in(await pages.get("/"))


FORGERIES: list[dict[str, str]] = [
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Sec-Fetch-Site": "none"},
    {"Origin": "https://elsewhere.example"},
    {"Origin": "null"},
]


@pytest.mark.usefixtures("operator")
async def test_a_form_from_elsewhere_is_refused_even_with_its_token(
    pages: Pages,
) -> None:
    token = (await pages.get("/sign-in")).field("form_token")
    form = {"form_token": token, "name": NAME, "password": PASSWORD}

    for headers in FORGERIES:
        assert (await pages.post("/sign-in", form, headers)).status == 403
    assert (await pages.post("/sign-in", form)).status == 303


@pytest.mark.usefixtures("operator")
async def test_a_sign_in_without_its_page_s_token_is_refused(pages: Pages) -> None:
    await pages.get("/sign-in")
    form = {"name": NAME, "password": PASSWORD}

    for token in ({}, {"form_token": ""}, {"form_token": "forged"}):
        assert (await pages.post("/sign-in", form | token)).status == 403
    assert not is_signed_in(await pages.get("/"))


async def test_sign_out_without_its_page_s_token_is_refused(pages: Pages) -> None:
    await pages.sign_in()

    answer = await pages.post("/sign-out", {})

    assert answer.status == 403
    assert is_signed_in(await pages.get("/"))


async def test_another_session_s_form_token_is_refused(
    pages: Pages, services: Services
) -> None:
    await pages.sign_in()
    foreign = (await pages.get("/")).field("form_token")
    other = await accounts.add_operator(services, "tor", "viewer", PASSWORD)
    pages.be(await accounts.open_session(services, other))

    assert (await pages.post("/sign-out", {"form_token": foreign})).status == 403


async def test_looking_at_a_one_time_link_does_not_spend_it(
    pages: Pages, services: Services, operator: accounts.Operator
) -> None:
    token = await accounts.make_single_sign_in(
        services, operator.name, timedelta(minutes=15)
    )
    path = accounts.sign_in_path(token)

    await pages.get(path)
    shown = await pages.get(path)
    form = {"form_token": shown.field("form_token"), "token": shown.field("token")}
    first = await pages.post("/sign-in/once", form)

    assert (first.status, first.headers["Location"]) == (303, "/")
    assert is_signed_in(await pages.get("/"))


async def test_a_one_time_link_works_once(
    pages: Pages, services: Services, operator: accounts.Operator
) -> None:
    token = await accounts.make_single_sign_in(
        services, operator.name, timedelta(minutes=15)
    )
    shown = await pages.get(accounts.sign_in_path(token))
    form = {"form_token": shown.field("form_token"), "token": token}
    await pages.post("/sign-in/once", form)
    pages.client.session.cookie_jar.clear()
    shown = await pages.get(accounts.sign_in_path(token))

    again = await pages.post(
        "/sign-in/once", {"form_token": shown.field("form_token"), "token": token}
    )

    assert again.status == 403
    assert "ask for another" in again.texts


async def test_without_an_account_the_sign_in_page_says_how_to_make_one(
    pages: Pages,
) -> None:
    shown = await pages.get("/sign-in")

    assert "fadewatch-collector user add NAME --role administrator" in shown.texts


async def test_nothing_is_shown_to_who_is_not_signed_in(pages: Pages) -> None:
    for path in ("/", "/laptops", "/laptops/1", "/exports/fleet.csv"):
        answer = await pages.ask(path)

        assert answer.status == 303
        assert answer.headers["Location"].startswith("/sign-in")
