"""The settings pages: policy, tokens, accounts; for administrators only."""

import re
from collections.abc import AsyncIterator

import pytest

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store import accounts as account_rows
from fadewatch_collector.store import tables
from fadewatch_collector.usecases import accounts, enrolment, policies
from fadewatch_collector.usecases.accounts import (
    operator_of_api_token,
    operator_of_session,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.routes import PAGE_ROUTES
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import PASSWORD, Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, be, rows, send
from tests.reports import AGENT, LAPTOP

POLICY, TOKENS, ACCOUNTS = (
    f"/settings/{name}" for name in ("policy", "tokens", "accounts")
)
EDIT = f"{POLICY}/edit"
FLEET = f"{EDIT}?scope=fleet"


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and an administrator signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        await fill(services.store, services.clock(), laptops=24)
        yield pages


def problem_of(page: Page) -> str:
    return page.one("p", role="alert").text


async def change(pages: Pages, scope: str = "fleet", **fields: str) -> Page:
    """Open the policy of a scope and send its form."""
    return await send(pages, f"{EDIT}?scope={scope}", EDIT, scope=scope, **fields)


async def test_the_policy_of_the_fleet_a_site_and_a_model_is_changed(
    pages: Pages, services: Services
) -> None:
    for scope, fields in (
        ("fleet", {"plan_wear": "25", "silent_days": "21"}),
        ("site:Old Mill", {"replace_wear": "37,5"}),
        (
            "model:Tarnbrook|Slate",
            {"new_pack_cycles": "10", "least_memory_mib": "16384"},
        ),
    ):
        answer = await change(pages, scope, **fields)
        assert answer.headers["Location"] == f"{POLICY}?done=policy"

    assert await policies.list_changes(services) == {
        "fleet": {"plan_wear": 0.25, "silent_days": 21},
        "site:Old Mill": {"replace_wear": 0.375},
        "model:Tarnbrook|Slate": {"new_pack_cycles": 10, "least_memory_mib": 16384},
    }
    page = await pages.get(POLICY)
    assert "Plan threshold25 % changed30 %" in page.texts
    assert "Site Old Mill Replace threshold 37.5 %" in page.texts
    assert (
        "Laptop model Tarnbrook Slate Cycles of a new pack 10 cycles; Least memory "
        "16384 MiB" in page.texts
    )
    assert (
        "mira the whole fleet: policy changed: Plan threshold as elsewhere → 25 %; "
        "Silent after as elsewhere → 21 days" in page.texts
    )


async def test_an_emptied_form_takes_a_scope_back_to_the_broader_policy(
    pages: Pages, services: Services
) -> None:
    await change(pages, "site:Old Mill", plan_wear="20")
    await change(pages, "site:Old Mill")

    assert await policies.list_changes(services) == {}
    assert "Plan threshold 20 % → as elsewhere" in (await pages.get(POLICY)).texts


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"plan_wear": "3"}, "Plan threshold: 3 is outside 5 to 90 %"),
        ({"plan_wear": "0.3"}, "Plan threshold: 0.3 is outside 5 to 90 %"),
        ({"plan_wear": "many"}, "Plan threshold: many is no number"),
        ({"plan_wear": "nan"}, "Plan threshold: nan is outside"),
        ({"plan_wear": "45"}, "must be above the plan threshold"),
        ({"new_pack_cycles": "2.5"}, "2.5 is not a whole number"),
        ({"silent_days": "0"}, "Silent after: 0 is outside 1 to 365 days"),
        ({"least_memory_mib": "-1"}, "Least memory: -1 is outside 0 to 524288 MiB"),
        ({"least_storage_gb": "0.5"}, "Least drive: 0.5 is not a whole number"),
        ({"hysteresis_wear": "9", "plan_wear": "35"}, "must be smaller"),
        ({"version": "x"}, "lacks its version"),
    ],
)
async def test_a_value_that_cannot_be_is_explained_and_nothing_is_lost(
    pages: Pages, services: Services, fields: dict[str, str], why: str
) -> None:
    answer = await change(pages, service_years="4", **fields)

    assert answer.status == 400
    assert why in problem_of(answer)
    assert answer.one("input", name="service_years").attributes["value"] == "4"
    assert await policies.list_changes(services) == {}


async def test_two_administrators_do_not_overwrite_each_other(
    pages: Pages, services: Services
) -> None:
    seen = await pages.get(FLEET)
    await be(pages, "administrator", "kim")
    await change(pages, plan_wear="25")
    token = (await pages.get(FLEET)).field("form_token")

    answer = await pages.post(
        EDIT,
        {
            "form_token": token, "scope": "fleet", "version": seen.field("version"),
            "plan_wear": "28",
        },
    )  # fmt: skip

    assert answer.status == 409
    assert "by kim" in problem_of(answer)
    assert (await policies.list_changes(services))["fleet"] == {"plan_wear": 0.25}


@pytest.mark.parametrize("scope", ["elsewhere", "site:" + "x" * 400, ""])
async def test_a_scope_that_is_none_has_no_policy(pages: Pages, scope: str) -> None:
    assert (await pages.get(f"{EDIT}?scope={scope}")).status == 400


async def test_an_enrolment_token_is_shown_once_and_works_until_revoked(
    pages: Pages, services: Services
) -> None:
    shown = await send(
        pages, TOKENS, f"{TOKENS}/make",
        label="autumn imaging", site="Old Mill", days="30", uses="2",
    )  # fmt: skip
    secret = shown.all("pre")[0].text

    enrolled = await enrolment.enrol(services, secret, LAPTOP, AGENT)
    listed = await pages.get(TOKENS)
    revoked = await send(pages, TOKENS, f"{TOKENS}/1/revoke")

    assert secret.startswith("fwt_")
    assert enrolled.laptop_id
    assert secret not in listed.body
    assert "autumn imagingOld Mill1 of 2" in listed.texts
    assert revoked.status == 303
    page = await pages.get(TOKENS)
    assert "revoked 2026-03-02" in page.texts
    assert "mira token 1: revoked" in page.texts


async def test_an_api_token_acts_for_who_made_it_until_revoked(
    pages: Pages, services: Services
) -> None:
    shown = await send(
        pages, TOKENS, f"{TOKENS}/make-api", label="wall display", days="90"
    )
    secret = shown.all("pre")[0].text
    operator = await operator_of_api_token(services, secret)
    await send(pages, TOKENS, f"{TOKENS}/1/revoke-api")
    again = await send(pages, TOKENS, f"{TOKENS}/1/revoke-api")

    assert operator is not None
    assert (operator.name, operator.role) == ("mira", "administrator")
    assert await operator_of_api_token(services, secret) is None
    assert again.status == 404


@pytest.mark.parametrize(
    ("name", "fields", "why"),
    [
        ("make", {"label": " ", "days": "1", "uses": "1"}, "The label needs"),
        ("make", {"label": "x", "days": "0", "uses": "1"}, "The days must be"),
        ("make", {"label": "x", "days": "1", "uses": "many"}, "The uses must be"),
        ("make", {"label": "x", "days": "9" * 30, "uses": "1"}, "The days must be"),
        ("make-api", {"label": "", "days": "1"}, "The label needs"),
        ("make-api", {"label": "x", "days": "731"}, "The days must be"),
    ],
)
async def test_a_token_that_cannot_be_made_is_explained(
    pages: Pages, services: Services, name: str, fields: dict[str, str], why: str
) -> None:
    answer = await send(pages, TOKENS, f"{TOKENS}/{name}", **fields)

    assert answer.status == 400
    assert why in problem_of(answer)
    assert await rows(services, tables.enrolment_tokens.c.id) == []
    assert await rows(services, tables.api_tokens.c.id) == []


@pytest.fixture
async def kim(services: Services) -> Operator:
    """Another operator, who never signs in by password."""
    async with services.store.writing() as connection:
        return await account_rows.add_operator(
            connection, "kim", "viewer", "no password", services.clock()
        )


async def test_an_account_is_added_and_can_sign_in(
    pages: Pages, services: Services
) -> None:
    answer = await send(
        pages, ACCOUNTS, f"{ACCOUNTS}/add",
        name="Lee", role="technician", password=PASSWORD,
    )  # fmt: skip

    assert answer.status == 303
    assert (await accounts.sign_in(services, "lee", PASSWORD)).role == "technician"
    page = await pages.get(ACCOUNTS)
    assert "mira lee: added as technician" in page.texts
    assert PASSWORD not in page.body


@pytest.mark.parametrize(
    ("fields", "status", "why"),
    [
        ({"name": "mira", "role": "viewer", "password": PASSWORD}, 409, "already"),
        ({"name": "", "role": "viewer", "password": PASSWORD}, 400, "name is empty"),
        ({"name": "lee", "role": "chief", "password": PASSWORD}, 400, "Choose a role"),
        ({"name": "lee", "role": "viewer", "password": "short"}, 400, "shorter than"),
    ],
)
async def test_an_account_that_cannot_be_is_explained(
    pages: Pages, fields: dict[str, str], status: int, why: str
) -> None:
    answer = await send(pages, ACCOUNTS, f"{ACCOUNTS}/add", **fields)

    assert answer.status == status
    assert why in problem_of(answer)
    (typed,) = answer.all("input", name="name")
    assert typed.attributes["value"] == fields["name"]
    for field in answer.all("input", type="password"):
        assert "value" not in field.attributes


async def test_another_role_ends_the_sessions_with_the_old_one(
    pages: Pages, services: Services, kim: Operator
) -> None:
    session = await accounts.open_session(services, kim)

    await send(pages, ACCOUNTS, f"{ACCOUNTS}/{kim.id}/role", role="technician")

    assert await operator_of_session(services, session) is None
    assert "mira kim: role viewer → technician" in (await pages.get(ACCOUNTS)).texts


async def test_an_administrator_signs_somebody_out(
    pages: Pages, services: Services, kim: Operator
) -> None:
    session = await accounts.open_session(services, kim)
    token = await accounts.make_api_token(services, "kim", "script", 1)
    path = f"{ACCOUNTS}/{kim.id}/sign-out"

    await send(pages, ACCOUNTS, path)
    kept = await accounts.operator_of_api_token(services, token)
    await send(pages, ACCOUNTS, path, tokens="yes")

    assert await operator_of_session(services, session) is None
    assert kept == kim
    assert await accounts.operator_of_api_token(services, token) is None


async def test_an_administrator_signs_everybody_out_and_goes_on(
    pages: Pages, services: Services, kim: Operator
) -> None:
    session = await accounts.open_session(services, kim)

    answer = await send(pages, ACCOUNTS, f"{ACCOUNTS}/sign-everybody-out")

    assert await operator_of_session(services, session) is None
    assert (
        "Everybody else is signed out."
        in (await pages.get(answer.headers["Location"])).texts
    )


async def test_disabling_shuts_out_at_once_and_enabling_lets_in_again(
    pages: Pages, services: Services, kim: Operator
) -> None:
    session = await accounts.open_session(services, kim)

    await send(pages, ACCOUNTS, f"{ACCOUNTS}/{kim.id}/disable")
    out = await operator_of_session(services, session)
    await send(pages, ACCOUNTS, f"{ACCOUNTS}/{kim.id}/enable")

    back = await accounts.open_session(services, kim)
    assert out is None
    assert await operator_of_session(services, back) == kim
    assert "mira kim: operator enabled" in (await pages.get(ACCOUNTS)).texts


async def test_a_password_is_set_for_somebody_else(
    pages: Pages, services: Services, kim: Operator
) -> None:
    path = f"{ACCOUNTS}/{kim.id}/password"
    short = await send(pages, ACCOUNTS, path, password="short")  # noqa: S106
    done = await send(pages, ACCOUNTS, path, password="another long enough 1")  # noqa: S106

    assert (short.status, done.status) == (400, 303)
    assert "shorter than" in problem_of(short)
    assert await accounts.sign_in(services, "kim", "another long enough 1") == kim


async def test_nobody_shuts_themselves_out(pages: Pages, services: Services) -> None:
    ((own,),) = await rows(services, tables.operators.c.id)
    for act in ("role", "disable", "password"):
        answer = await send(
            pages, ACCOUNTS, f"{ACCOUNTS}/{own}/{act}", role="viewer", password=PASSWORD
        )
        assert answer.status == 409, act
        assert "their own account" in problem_of(answer)
    assert (await pages.get(ACCOUNTS)).status == 200
    assert (await send(pages, ACCOUNTS, f"{ACCOUNTS}/999/disable")).status == 404


SETTINGS_FORMS = [
    re.sub(r"\{\w+_id\}", "1", route.path)
    for route in PAGE_ROUTES
    if route.method == "POST" and route.path.startswith("/settings/")
]
EVERYTHING = {
    "scope": "fleet", "version": "0", "plan_wear": "25", "label": "x", "days": "1",
    "uses": "1", "name": "lee", "role": "viewer", "password": PASSWORD,
}  # fmt: skip


async def kept(services: Services) -> list[list[tuple[object, ...]]]:
    return [
        await rows(services, *columns)
        for columns in (
            (tables.policies.c.scope,),
            (tables.enrolment_tokens.c.id,),
            (tables.api_tokens.c.id,),
            (tables.operators.c.name, tables.operators.c.role),
        )
    ]


@pytest.mark.parametrize("role", ["viewer", "technician"])
async def test_only_administrators_see_or_change_settings(
    pages: Pages, services: Services, role: str
) -> None:
    await be(pages, "technician" if role == "technician" else "viewer", "kim")
    before = await kept(services)

    assert not (await pages.get("/")).all("a", href=POLICY)
    for path in (POLICY, FLEET, TOKENS, ACCOUNTS):
        assert (await pages.get(path)).status == 403, path
    assert len(SETTINGS_FORMS) >= 13
    for path in SETTINGS_FORMS:
        assert (await send(pages, "/", path, **EVERYTHING)).status == 403, path
    assert await kept(services) == before


async def test_every_settings_form_needs_its_token(
    pages: Pages, services: Services
) -> None:
    before = await kept(services)

    for path in SETTINGS_FORMS:
        assert (await pages.post(path, EVERYTHING)).status == 403, path
    assert await kept(services) == before


async def test_names_and_labels_are_only_ever_text(pages: Pages) -> None:
    await send(
        pages, ACCOUNTS, f"{ACCOUNTS}/add",
        name=HOSTILE, role="viewer", password=PASSWORD,
    )  # fmt: skip
    for name in ("make", "make-api"):
        await send(
            pages, TOKENS, f"{TOKENS}/{name}",
            label=HOSTILE, site=HOSTILE, days="3", uses="3",
        )  # fmt: skip
    await pages.post(
        EDIT,
        {
            "form_token": (await pages.get(POLICY)).field("form_token"),
            "scope": f"site:{HOSTILE}", "version": "0", "plan_wear": "20",
        },
    )  # fmt: skip

    for path in (ACCOUNTS, TOKENS, POLICY):
        page = await pages.get(path)
        assert page.status == 200
        assert HOSTILE.casefold() in page.texts.casefold()
        assert all(one.attributes.get("src") for one in page.all("script"))
        assert "2331" not in page.body


async def test_the_register_of_removed_packs_is_taken_home_by_technicians(
    pages: Pages,
) -> None:
    answer = await pages.ask("/exports/removed.csv")
    await be(pages, "viewer", "vic")
    refused = await pages.ask("/exports/removed.csv")

    assert answer.headers["Content-Disposition"] == (
        'attachment; filename="fadewatch-removed-2026-03-02.csv"'
    )
    assert answer.body.startswith("state,swollen,")
    assert refused.status == 403
