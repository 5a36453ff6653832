"""Signing in through a real OpenID Connect provider, over TLS with a private CA."""

import re
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from aiohttp import ClientSession, CookieJar
from yarl import URL

from fadewatch_collector.settings import Settings
from fadewatch_collector.store import tables
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.organisation import link
from fadewatch_collector.usecases.roles import set_role
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.integration.pages_service import Pages, running_pages
from tests.integration.web_acts import rows
from tests.processes import free_port
from tests.provider import Provider, running_provider, settings_for

PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator
BEGIN = "/sign-in/organisation"

ROLES = {
    "oidc_viewers": "everyone",
    "oidc_technicians": "desk, bench",
    "oidc_administrators": "keepers",
    "oidc_new_accounts": True,
}


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Provider]:
    with running_provider(tmp_path_factory.mktemp("provider")) as running:
        yield running


@dataclass(frozen=True, slots=True)
class Browser:
    """Somebody at their browser, who may be signed in at the provider."""

    web: ClientSession
    provider: Provider
    collector: str

    async def be(self, name: str) -> None:
        """Sign in at the provider."""
        async with self.web.get(f"{self.provider.address}/be?name={name}") as answer:
            assert answer.status == 200

    async def get(self, address: str, *, follow: bool = True) -> "Seen":
        """Open an address of the collector, or of whoever it sends the browser to."""
        async with self.web.get(
            URL(self.collector).join(URL(address)), allow_redirects=follow
        ) as answer:
            where = answer.headers.get("Location", "")
            return Seen(answer.status, answer.url, await answer.text(), where)

    async def sign_in(self, path: str = BEGIN) -> "Seen":
        """Begin a sign-in and follow wherever it leads."""
        return await self.get(path)

    async def agree(self, seen: "Seen") -> "Seen":
        """Press the button of the provider's page."""
        hidden = dict(
            re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', seen.text)
        )
        form = {name: unescape(value) for name, value in hidden.items()}
        form["allow"] = "yes"
        async with self.web.post(seen.url, data=form) as answer:
            return Seen(answer.status, answer.url, await answer.text(), "")

    async def to_the_answer(self) -> str:
        """Begin a sign-in, and stop before the provider's answer is brought back."""
        there = (await self.get(BEGIN, follow=False)).location
        return (await self.get(there, follow=False)).location


@dataclass(frozen=True, slots=True)
class Seen:
    status: int
    url: URL
    text: str
    location: str


@dataclass(frozen=True, slots=True)
class Running:
    """A collector that trusts the provider, and a browser."""

    services: Services
    pages: Pages
    browser: Browser


@pytest.fixture
def collector(services: Services, provider: Provider) -> Any:
    @asynccontextmanager
    async def run(**settings: Any) -> AsyncIterator[Running]:
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        chosen = Settings(
            data_folder=services.settings.data_folder,
            public_url=address,
            **{**settings_for(provider), **ROLES, **settings},
        )
        provider.collector(address)
        with_provider = replace(services, settings=chosen)
        async with running_pages(with_provider, port) as pages, browsing(pages) as one:
            yield Running(with_provider, pages, one)

    @asynccontextmanager
    async def browsing(pages: Pages) -> AsyncIterator[Browser]:
        jar = CookieJar(unsafe=True)
        async with ClientSession(cookie_jar=jar) as web:
            web.connector._ssl = provider.trust()  # type: ignore[union-attr]
            yield Browser(web, provider, str(pages.client.make_url("/")))

    return run


async def test_the_first_sign_in_makes_an_account_with_the_role_of_its_groups(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "everyone", "bench")
    async with collector() as here:
        await here.browser.be("mira")
        seen = await here.browser.sign_in(BEGIN + "?next=/laptops")

        assert (seen.status, seen.url.path) == (200, "/laptops")
        assert "mira" in seen.text
        assert "technician" in seen.text
        assert await rows(
            here.services, tables.operators.c.name, tables.operators.c.role
        ) == [("mira", "technician")]
        ((subject,),) = await rows(here.services, tables.operator_identities.c.subject)
        assert subject


async def test_the_account_stays_the_same_and_its_role_follows_the_groups(
    collector: Any, provider: Provider
) -> None:
    provider.person("rolf", "keepers", "everyone")
    async with collector() as here:
        await here.browser.be("rolf")
        await here.browser.sign_in()
        (rolf,) = await accounts.list_operators(here.services)
        before = await accounts.open_session(here.services, rolf.operator)
        provider.person("rolf", "everyone", called="another name")
        await here.browser.sign_in()

        (after,) = await accounts.list_operators(here.services)
        assert rolf.operator.role == "administrator"
        assert after.operator == replace(rolf.operator, role="viewer")
        # What was open with the higher role has ended.
        assert await accounts.operator_of_session(here.services, before) is None


async def test_without_values_for_roles_new_accounts_are_viewers_and_keep_their_role(
    collector: Any, provider: Provider
) -> None:
    provider.person("una", "keepers")
    none: dict[str, Any] = {name: "" for name in ROLES if name != "oidc_new_accounts"}
    async with collector(**none) as here:
        await here.browser.be("una")
        await here.browser.sign_in()
        await set_role(here.services, "una", "technician")
        await here.browser.sign_in()

        (una,) = await accounts.list_operators(here.services)
        assert una.operator.role == "technician"


async def test_who_has_no_account_and_may_have_none_is_told_how_to_be_linked(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "desk")
    async with collector(oidc_new_accounts=False) as here:
        await here.browser.be("mira")
        out = await here.browser.sign_in()
        await accounts.add_operator(here.services, "lee", "viewer", PASSWORD)
        subject = out.text.partition("--subject ")[2].partition("&#39;")[0]
        await link(here.services, "lee", subject)
        seen = await here.browser.sign_in()

        assert out.status == 403
        assert "user link NAME --subject" in out.text
        # The account that exists is used, with the role that the groups give.
        assert (seen.status, seen.url.path) == (200, "/")
        (lee,) = await accounts.list_operators(here.services)
        assert (lee.operator.name, lee.operator.role) == ("lee", "technician")
        assert await accounts.sign_in(here.services, "lee", PASSWORD) == lee.operator


async def test_a_name_at_the_provider_opens_no_account_of_that_name_here(
    collector: Any, provider: Provider
) -> None:
    provider.person("guest", "everyone", called="Ada")
    async with collector() as here:
        await accounts.add_operator(here.services, "ada", "administrator", PASSWORD)
        await here.browser.be("guest")
        seen = await here.browser.sign_in()

        assert seen.status == 403
        assert "There is an account ada already" in seen.text
        assert (await here.browser.get("/", follow=False)).status == 303


async def test_a_disabled_account_stays_out(collector: Any, provider: Provider) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        await here.browser.sign_in()
        await accounts.disable_operator(here.services, "mira")
        seen = await here.browser.sign_in()

        assert seen.status == 403
        assert "disabled" in seen.text
        assert (await here.browser.get("/", follow=False)).status == 303


async def test_who_is_in_no_group_of_ours_gets_in_with_nothing(
    collector: Any, provider: Provider
) -> None:
    provider.person("visitor", "choir")
    async with collector() as here:
        await here.browser.be("visitor")
        seen = await here.browser.sign_in()

        assert seen.status == 403
        assert "gives you no role" in seen.text
        assert await accounts.list_operators(here.services) == []


async def test_an_answer_counts_once_and_in_the_browser_that_asked(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        answer = await here.browser.to_the_answer()
        async with here.pages.stranger() as stranger:
            path = URL(answer).path_qs
            elsewhere = await stranger.ask(path)
        first = await here.browser.get(answer)
        again = await here.browser.get(answer)

        assert elsewhere.status == 403
        assert first.status == 200
        assert again.status == 403


async def test_a_code_that_was_used_opens_nothing_even_with_its_cookie(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        answer = await here.browser.to_the_answer()
        cookies = here.browser.web.cookie_jar.filter_cookies(URL(answer))
        flow = cookies["fadewatch-flow"].value
        assert (await here.browser.get(answer)).status == 200
        async with here.pages.stranger() as thief:
            headers = {"Cookie": f"fadewatch-flow={flow}"}
            stolen = await thief.get(URL(answer).path_qs, headers)

        assert stolen.status == 403
        assert "was not accepted" in stolen.texts


async def test_an_answer_that_comes_too_late_is_not_taken(
    collector: Any, provider: Provider, clock: StandingClock
) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        answer = await here.browser.to_the_answer()
        clock.move(timedelta(minutes=11))

        assert (await here.browser.get(answer)).status == 403


async def test_another_state_is_not_taken(collector: Any, provider: Provider) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        answer = URL(await here.browser.to_the_answer())

        for changes in ({"state": "another"}, {"iss": "https://evil.example"}):
            changed = answer.update_query(changes)
            assert (await here.browser.get(str(changed))).status == 403


async def test_no_other_site_can_make_a_browser_sign_in(
    collector: Any, provider: Provider
) -> None:
    async with collector() as here:
        page = await here.pages.get(BEGIN, {"Sec-Fetch-Site": "cross-site"})

        assert page.url.path == "/sign-in"


async def test_the_providers_next_key_is_found(
    collector: Any, provider: Provider, clock: StandingClock
) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        assert (await here.browser.sign_in()).status == 200
        provider.new_key()
        clock.move(timedelta(seconds=31))

        assert (await here.browser.sign_in()).status == 200


async def test_signing_out_here_offers_to_sign_out_there(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "desk")
    async with collector() as here:
        await here.browser.be("mira")
        seen = await here.browser.sign_in()
        token = seen.text.partition('name="form_token" value="')[2].partition('"')[0]
        async with here.browser.web.post(
            here.browser.collector + "sign-out", data={"form_token": token}
        ) as answer:
            after = await answer.text()
        there = await here.browser.get("/sign-in/organisation/out", follow=False)
        asks = await here.browser.get(there.location)
        back = await here.browser.agree(asks)

        assert "sign out there too" in after
        assert there.location.startswith(provider.issuer)
        # The provider asks first, since no ID token is shown to it; then it sends the
        # browser to the address that it knows.
        assert asks.url.port == provider.port
        assert (back.status, back.url.path) == (200, "/sign-in")
        # Signed out there: the next sign-in ends at the provider's own door.
        seen = await here.browser.sign_in()
        assert seen.url.port == provider.port


async def test_a_provider_whose_certificate_is_not_trusted_is_not_talked_to(
    collector: Any,
) -> None:
    async with collector(private_ca=None) as here:
        seen = await here.browser.sign_in()

        assert seen.status == 503
        assert "cannot be reached" in seen.text
        assert (await here.browser.get("/sign-in")).status == 200


async def test_a_wrong_client_secret_lets_nobody_in(
    collector: Any, provider: Provider
) -> None:
    provider.person("mira", "desk")
    async with collector(oidc_client_secret="another") as here:  # noqa: S106
        await here.browser.be("mira")

        assert (await here.browser.sign_in()).status == 403


async def test_passwords_may_be_left_to_one_account_for_hard_times(
    collector: Any,
) -> None:
    async with collector(password_only_for="Ada") as here:  # noqa: S106  a name
        for name in ("ada", "kim"):
            await accounts.add_operator(here.services, name, "administrator", PASSWORD)
        kim = await here.pages.try_sign_in("kim", PASSWORD)
        ada = await here.pages.try_sign_in("ada", PASSWORD)

        assert kim.status == 403
        assert "the one account" in kim.texts
        assert ada.status == 303


async def test_without_a_provider_there_is_no_such_way_in(services: Services) -> None:
    async with running_pages(services) as pages:
        for path in (BEGIN, BEGIN + "/back?code=1&state=2", BEGIN + "/out"):
            assert (await pages.get(path)).status == 404
        assert "Sign in with" not in (await pages.get("/sign-in")).texts
