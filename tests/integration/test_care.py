"""The life of a pack: fitted, alerted on, planned, swapped, removed, handed over."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound, NotSignedIn
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.audit import trail_of
from fadewatch_collector.store.tables import alerts, packs, removed_packs, swaps
from fadewatch_collector.usecases import alert_actions, inspections, removed
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import confirm_swap, reject_swap
from fadewatch_common.report import Drive, Pack
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, live, new_laptop, rows, technician
from tests.integration.postgres import DATABASES
from tests.reports import LAPTOP, PACK, make_report

ON = DATABASES

NEW = replace(
    PACK,
    serial="90001",
    full_charge_capacity=57000,
    remaining_capacity=13700,
    cycle_count=1,
    state="charging",
)


@pytest.fixture
async def laptop_id(services: Services) -> int:
    return await new_laptop(services)


@pytest.fixture
async def pat(services: Services) -> Operator:
    return await technician(services)


def worn(percent: float) -> Pack:
    return replace(PACK, full_charge_capacity=round(57000 * (1 - percent / 100)))


async def days(
    services: Services, clock: StandingClock, laptop_id: int, pack: Pack, count: int
) -> None:
    for _ in range(count):
        clock.move(DAY)
        await live(services, laptop_id, make_report(clock(), (pack,)))


async def live_kinds(services: Services) -> set[str]:
    query = select(alerts.c.kind).where(alerts.c.state != "ended")
    return {kind for (kind,) in await rows(services, query)}


async def alert(services: Services, kind: str) -> tuple[int, int, str]:
    """Return an alert's number, version and state."""
    query = select(alerts.c.id, alerts.c.version, alerts.c.state).where(
        alerts.c.kind == kind
    )
    (found,) = await rows(services, query)
    return found[0], found[1], found[2]


async def actions(services: Services, subject: str) -> list[tuple[str, str]]:
    async with services.store.reading() as connection:
        lines = await trail_of(connection, [subject], limit=50)
    return [(line.who, line.action) for line in reversed(lines)]


async def test_a_worn_pack_is_planned_swapped_and_handed_over(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, worn(44), 8)
    number, version, _ = await alert(services, "wear-replace")
    await alert_actions.plan(
        services, number, version, pat, clock().date() + timedelta(days=3)
    )
    await days(services, clock, laptop_id, NEW, 3)

    assert "swap-to-confirm" in await live_kinds(services)
    assert "wrong-pack" not in await live_kinds(services)

    ((swap, old, new),) = await rows(
        services, select(swaps.c.id, swaps.c.old_pack_id, swaps.c.new_pack_id)
    )
    await confirm_swap(services, swap, pat, swollen=False)

    assert await live_kinds(services) == set()
    (record,) = await removed.list_removed(services)
    assert (record.pack_id, record.state, record.swollen) == (old, "removed", False)

    await removed.set_aside(
        services, record.id, record.version, pat, place="metal box", swollen=None
    )
    (record,) = await removed.list_removed(services)
    await removed.hand_over(
        services, record.id, record.version, pat, way="collection point"
    )

    assert (await removed.list_removed(services))[0].state == "handed over"
    assert await actions(services, f"alert:{number}") == [
        ("pat", "planned"),
        ("pat", "ended"),
    ]
    assert await actions(services, f"pack:{old}") == [
        ("pat", "swap confirmed"),
        ("pat", "pack set aside"),
        ("pat", "pack handed over"),
    ]
    assert await actions(services, f"pack:{new}") == [("pat", "swap confirmed")]


async def test_a_used_pack_is_called_wrong_with_the_reason(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await days(services, clock, laptop_id, worn(44), 5)
    used = replace(NEW, full_charge_capacity=45000, cycle_count=410)
    await days(services, clock, laptop_id, used, 1)

    assert "wrong-pack" in await live_kinds(services)
    ((wrong,),) = await rows(services, select(swaps.c.wrong))
    assert any("410 cycles" in sentence for sentence in wrong)
    assert any("21.1 %" in sentence for sentence in wrong)


async def test_a_swap_is_decided_once(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, worn(44), 3)
    await days(services, clock, laptop_id, NEW, 1)
    ((swap,),) = await rows(services, select(swaps.c.id))
    await confirm_swap(services, swap, pat, swollen=None)

    with pytest.raises(Conflict, match="confirmed by pat"):
        await reject_swap(services, swap, pat)
    with pytest.raises(NotFound):
        await confirm_swap(services, 999, pat, swollen=None)


@pytest.mark.parametrize("swollen", [True, None])
async def test_a_swollen_pack_is_never_posted_or_flown(
    services: Services,
    clock: StandingClock,
    laptop_id: int,
    pat: Operator,
    swollen: bool | None,
) -> None:
    await days(services, clock, laptop_id, worn(44), 3)
    await days(services, clock, laptop_id, NEW, 1)
    ((swap,),) = await rows(services, select(swaps.c.id))
    await confirm_swap(services, swap, pat, swollen=swollen)
    (record,) = await removed.list_removed(services)

    for way in ("post", "air freight"):
        with pytest.raises(InvalidRequest, match="must not be posted or flown"):
            await removed.hand_over(services, record.id, record.version, pat, way=way)
    assert await rows(services, select(removed_packs.c.state)) == [("removed",)]


async def test_two_people_at_one_alert_get_a_clear_answer(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    kim = await technician(services, "kim")
    await days(services, clock, laptop_id, worn(34), 5)
    number, version, _ = await alert(services, "wear-plan")
    await alert_actions.acknowledge(services, number, version, pat)

    with pytest.raises(Conflict, match="acknowledged by pat on 2026-"):
        await alert_actions.end(services, number, version, kim, "done")
    assert (await alert(services, "wear-plan"))[2] == "acknowledged"


async def test_what_a_person_ended_rests_until_it_is_worse(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, worn(34), 5)
    number, version, _ = await alert(services, "wear-plan")
    await alert_actions.end(
        services, number, version, pat, "the laptop is retired soon"
    )
    await days(services, clock, laptop_id, worn(34), 5)

    assert "wear-plan" not in await live_kinds(services)

    await days(services, clock, laptop_id, worn(46), 40)
    assert "wear-replace" in await live_kinds(services)


async def test_a_planned_day_is_not_past(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, worn(34), 5)
    number, version, _ = await alert(services, "wear-plan")

    with pytest.raises(InvalidRequest, match="is past"):
        await alert_actions.plan(services, number, version, pat, clock().date() - DAY)


async def test_handing_over_needs_somebody_who_can_sign_in(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, worn(34), 5)
    number, version, _ = await alert(services, "wear-plan")

    with pytest.raises(NotFound, match="nobody"):
        await alert_actions.hand_over(services, number, version, pat, "nobody")
    await alert_actions.hand_over(services, number, version, pat, "pat")
    assert await actions(services, f"alert:{number}") == [("pat", "handed over")]


async def test_any_sign_raises_stop_use_at_once(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, PACK, 2)

    reported = await inspections.inspect(
        services, laptop_id, pat, signs=["touchpad", "rocks"]
    )

    assert reported
    query = select(alerts.c.kind, alerts.c.urgency, alerts.c.reasons)
    ((kind, urgency, reasons),) = await rows(services, query)
    assert (kind, urgency) == ("swelling-reported", "stop-use")
    assert "it rocks on a flat table" in reasons[0]


async def test_a_sign_stays_though_the_figures_are_good(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, PACK, 2)
    await inspections.inspect(services, laptop_id, pat, signs=["gap"])
    await days(services, clock, laptop_id, PACK, 40)
    await assess_all(services)

    assert "swelling-reported" in await live_kinds(services)


async def test_a_holder_answers_a_link_once(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, PACK, 1)
    token = await inspections.ask_holder(services, laptop_id, pat)

    assert (await inspections.asked_by(services, token)).hostname == "tern-014"
    assert not await inspections.answer_link(services, token, signs=[])
    with pytest.raises(NotSignedIn):
        await inspections.answer_link(services, token, signs=["gap"])


async def test_a_link_expires(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    token = await inspections.ask_holder(services, laptop_id, pat)
    clock.move(timedelta(days=7))

    with pytest.raises(NotSignedIn):
        await inspections.asked_by(services, token)


async def test_a_sign_that_is_not_ours_is_refused(
    services: Services, laptop_id: int, pat: Operator
) -> None:
    with pytest.raises(InvalidRequest, match="no such sign"):
        await inspections.inspect(services, laptop_id, pat, signs=["<script>"])


async def test_a_laptop_without_a_pack_can_be_reported_too(
    services: Services, laptop_id: int, pat: Operator
) -> None:
    assert await inspections.inspect(services, laptop_id, pat, signs=["smell"])
    assert await live_kinds(services) == {"swelling-reported"}


async def test_a_drive_that_changed_is_told_as_a_fact(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    for size, serial in ((256, "A"), (512, "B")):
        clock.move(DAY)
        drive = Drive(name="nvme0n1", size_bytes=size * 10**9, serial=serial)
        await live(services, laptop_id, make_report(clock(), (PACK,), drives=(drive,)))

    assert "hardware-changed" in await live_kinds(services)


async def test_two_laptops_that_show_one_pack_are_told_of(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    other = await new_laptop(services, "BM-2")
    for _ in range(3):
        clock.move(timedelta(hours=8))
        await live(services, laptop_id, make_report(clock(), (PACK,)))
        clock.move(timedelta(hours=8))
        await live(services, other, make_report(clock(), (PACK,)))

    assert "identity-clash" in await live_kinds(services)
    assert len(await rows(services, select(packs.c.id))) == 2


async def test_a_laptop_that_shares_a_serial_with_another_is_told_of(
    services: Services, laptop_id: int
) -> None:
    await new_laptop(
        services, "BM-1", replace(LAPTOP, board_uuid="00000000-0000-4000-8000-1")
    )

    assert await live_kinds(services) == {"identity-clash"}
