from collections import defaultdict
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import pytest

from fadewatch_collector.simulation.demo import (
    Delivery,
    DemoFleet,
    DemoLaptop,
    Situation,
    demo_fleet,
)
from fadewatch_common.bounds import problems
from fadewatch_common.placeholders import is_placeholder, is_placeholder_uuid
from fadewatch_common.report import Pack
from fadewatch_common.report_id import check_report_id
from fadewatch_common.wear import wear

UNTIL = datetime(2026, 11, 25, 12, 30, tzinfo=UTC)

# Wear over the last readings is known to the gauge's noise.
CLOSE = 0.02


@pytest.fixture(scope="module")
def fleet() -> DemoFleet:
    return demo_fleet(UNTIL)


@pytest.fixture(scope="module")
def diaries(fleet: DemoFleet) -> dict[int, list[Delivery]]:
    kept: dict[int, list[Delivery]] = defaultdict(list)
    for delivery in fleet.deliveries:
        kept[delivery.laptop].append(delivery)
    return kept


def laptops(fleet: DemoFleet, situation: Situation) -> list[DemoLaptop]:
    return [one for one in fleet.laptops if one.situation is situation]


def only_pack(delivery: Delivery) -> Pack:
    (pack,) = delivery.report.packs
    return pack


def worn(pack: Pack) -> float:
    assert pack.full_charge_capacity is not None
    assert pack.design_capacity is not None
    return wear(pack.full_charge_capacity, pack.design_capacity)


def packs_of(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]], situation: Situation
) -> list[list[Pack]]:
    """Each laptop's readings of its only pack, in time order."""
    return [
        [only_pack(delivery) for delivery in diaries[one.number]]
        for one in laptops(fleet, situation)
    ]


def test_the_fleet_is_of_the_size_of_an_organisation(fleet: DemoFleet) -> None:
    assert 55 <= len(fleet.laptops) <= 70
    assert len({one.place.site for one in fleet.laptops}) == 4
    assert 15_000 <= len(fleet.deliveries) <= 40_000


def test_every_situation_is_there(fleet: DemoFleet) -> None:
    assert {one.situation for one in fleet.laptops} == set(Situation)


def test_the_same_moment_and_seed_give_the_same_fleet(fleet: DemoFleet) -> None:
    again = demo_fleet(UNTIL)
    assert again.laptops == fleet.laptops
    assert again.deliveries == fleet.deliveries


def test_another_seed_gives_other_reports(fleet: DemoFleet) -> None:
    assert demo_fleet(UNTIL, seed=2).deliveries != fleet.deliveries


def test_reports_come_in_time_order_and_none_after_the_moment(fleet: DemoFleet) -> None:
    moments = [delivery.received_at for delivery in fleet.deliveries]
    assert moments == sorted(moments)
    assert UNTIL - moments[-1] < timedelta(days=1)
    assert moments[-1] <= UNTIL
    assert timedelta(days=725) < moments[-1] - moments[0] <= timedelta(days=731)


def test_any_moment_will_do_as_the_end() -> None:
    leap_day = datetime(2028, 2, 29, 0, 5, tzinfo=timezone(timedelta(hours=2)))
    fleet = demo_fleet(leap_day)
    assert len(fleet.laptops) == len({one.laptop for one in fleet.deliveries})
    assert fleet.deliveries[-1].received_at <= leap_day


def test_every_report_keeps_the_bounds_of_the_contract(fleet: DemoFleet) -> None:
    assert [p for one in fleet.deliveries[::5] for p in problems(one.report)] == []


def test_report_ids_are_valid_and_unique(fleet: DemoFleet) -> None:
    ids = {check_report_id(one.report.report_id) for one in fleet.deliveries}
    assert len(ids) == len(fleet.deliveries)


def test_a_laptop_enrols_with_its_first_report(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for one in fleet.laptops:
        first = diaries[one.number][0]
        assert one.enrolled_at == first.received_at
        assert one.laptop == first.report.laptop
        assert one.agent == first.report.agent


def test_asset_tags_are_unique_and_no_holder_is_a_name(fleet: DemoFleet) -> None:
    assert len({one.place.asset_tag for one in fleet.laptops}) == len(fleet.laptops)
    for one in fleet.laptops:
        if one.place.holder is not None:
            kind, number = one.place.holder.split()
            assert kind in {"staff", "pool"}
            assert number.isdigit()


def test_identities_are_firm_but_for_the_clash(fleet: DemoFleet) -> None:
    serials = [one.laptop.serial for one in fleet.laptops]
    clash = laptops(fleet, Situation.IDENTITY_CLASH)
    assert not any(is_placeholder(serial) for serial in serials)
    assert not any(is_placeholder_uuid(one.laptop.board_uuid) for one in fleet.laptops)
    assert len({one.laptop.serial for one in clash}) == 1
    assert len({one.laptop.board_uuid for one in clash}) == 2
    assert len(set(serials)) == len(serials) - 1


@pytest.mark.parametrize(
    ("situation", "least", "most"),
    [
        (Situation.SOUND, -0.05, 0.28),
        (Situation.NEW, -0.05, 0.05),
        (Situation.SOON, 0.23, 0.30),
        (Situation.PAST_PLAN, 0.30, 0.40),
        (Situation.PAST_REPLACE, 0.41, 0.56),
        (Situation.FROZEN, 0.0, 0.0),
        (Situation.SWAPPED, -0.05, 0.06),
    ],
)
def test_wear_at_the_end_fits_the_situation(
    fleet: DemoFleet,
    diaries: dict[int, list[Delivery]],
    situation: Situation,
    least: float,
    most: float,
) -> None:
    for packs in packs_of(fleet, diaries, situation):
        last = sorted(worn(pack) for pack in packs[-7:])[3]
        assert least - CLOSE / 4 <= last <= most + CLOSE / 4


@pytest.mark.parametrize(
    ("situation", "before_end", "size"),
    [(Situation.DROP, 48, 0.13), (Situation.BIG_DROP, 17, 0.28)],
)
def test_a_drop_happens_on_its_day_and_stays(
    fleet: DemoFleet,
    diaries: dict[int, list[Delivery]],
    situation: Situation,
    before_end: int,
    size: float,
) -> None:
    deliveries = diaries[laptops(fleet, situation)[0].number]
    day = UNTIL - timedelta(days=before_end)
    week = timedelta(days=14)
    before, after, end = (
        sorted(
            worn(only_pack(one)) for one in deliveries if begin <= one.received_at < end
        )
        for begin, end in (
            (day - week, day - timedelta(days=1)),
            (day + timedelta(days=3), day + week),
            (UNTIL - week, UNTIL),
        )
    )
    middle = [values[len(values) // 2] for values in (before, after, end)]
    assert middle[1] - middle[0] == pytest.approx(size, abs=CLOSE)
    assert middle[2] >= middle[1] - CLOSE


def test_the_big_drop_hits_a_pack_that_is_past_the_plan_threshold(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    (packs,) = packs_of(fleet, diaries, Situation.BIG_DROP)
    courses = [worn(pack) for pack in packs]
    assert any(0.30 < value < 0.36 for value in courses[-40:-15])
    assert courses[-1] > 0.55


def test_fade_is_faster_after_the_knee(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    number = laptops(fleet, Situation.KNEE)[0].number
    values = {
        (UNTIL.date() - one.received_at.date()).days: worn(only_pack(one))
        for one in diaries[number]
    }

    def median(first: int, last: int) -> float:
        inside = sorted(value for day, value in values.items() if last <= day <= first)
        return inside[len(inside) // 2]

    early = (median(330, 300) - median(480, 450)) / 150
    late = (median(10, 0) - median(90, 80)) / 80
    assert late > 3 * early


def test_a_new_pack_arrives_with_little_charge_and_no_cycles(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for packs in packs_of(fleet, diaries, Situation.SWAPPED):
        serial = packs[-1].serial
        first = next(pack for pack in packs if pack.serial == serial)
        assert first.remaining_capacity is not None
        assert first.full_charge_capacity is not None
        charge = first.remaining_capacity / first.full_charge_capacity
        assert charge == pytest.approx(0.28, abs=0.01)
        assert first.cycle_count is None


def test_a_right_swap_keeps_the_type_and_a_wrong_one_does_not(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for packs in packs_of(fleet, diaries, Situation.SWAPPED):
        assert packs[0].model == packs[-1].model
        assert packs[0].serial != packs[-1].serial
    (packs,) = packs_of(fleet, diaries, Situation.WRONG_PACK)
    assert packs[0].model != packs[-1].model
    assert packs[0].design_capacity != packs[-1].design_capacity


def test_a_pack_moves_from_one_laptop_to_another(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    (packs,) = packs_of(fleet, diaries, Situation.MOVED_PACK)
    moved = packs[-1].serial
    elsewhere = [
        delivery
        for delivery in fleet.deliveries
        if delivery.laptop != laptops(fleet, Situation.MOVED_PACK)[0].number
        and any(pack.serial == moved for pack in delivery.report.packs)
    ]
    arrived = next(
        one
        for one in diaries[laptops(fleet, Situation.MOVED_PACK)[0].number]
        if only_pack(one).serial == moved
    )
    assert elsewhere
    assert elsewhere[-1].received_at < arrived.received_at


def test_weak_packs_have_no_serial_of_their_own(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for packs in packs_of(fleet, diaries, Situation.WEAK_IDENTITY):
        assert all(is_placeholder(pack.serial) for pack in packs)


def test_a_percent_only_pack_says_nothing_about_design(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    (packs,) = packs_of(fleet, diaries, Situation.RELATIVE)
    assert {pack.unit for pack in packs} == {"relative"}
    assert {pack.design_capacity for pack in packs} == {None}
    assert {pack.full_charge_capacity for pack in packs} == {100}


def test_laptops_have_two_packs_or_none(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for one in laptops(fleet, Situation.TWO_PACKS):
        for delivery in diaries[one.number]:
            assert [pack.slot for pack in delivery.report.packs] == ["BAT0", "BAT1"]
    (bare,) = laptops(fleet, Situation.NO_PACK)
    for delivery in diaries[bare.number]:
        assert delivery.report.packs == ()
        assert delivery.report.remarks


def test_silent_laptops_have_not_reported_for_weeks(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for one in fleet.laptops:
        quiet_for = UNTIL - diaries[one.number][-1].received_at
        assert (quiet_for > timedelta(days=14)) == (
            one.situation is Situation.SILENT
        ), one.situation


def test_hardware_changes_once_and_stays_changed(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for one in fleet.laptops:
        states = [(d.report.memory, d.report.drives) for d in diaries[one.number]]
        changes = sum(a != b for a, b in pairwise(states))
        changed = one.situation in {Situation.MEMORY_CHANGED, Situation.DRIVE_CHANGED}
        assert changes == int(changed)


def test_a_wrong_clock_lasts_days_and_is_years_off(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    (one,) = laptops(fleet, Situation.WRONG_CLOCK)
    off = [
        delivery.received_at - delivery.report.measured_at
        for delivery in diaries[one.number]
    ]
    wrong = [value for value in off if value]
    assert 2 <= len(wrong) <= 8
    assert all(value > timedelta(days=5 * 365) for value in wrong)


def test_a_dip_and_a_false_cliff_come_back(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    for situation, first, last, depth in (
        (Situation.DIP, 90, 70, 0.055),
        (Situation.FALSE_CLIFF, 26, 24, 0.075),
    ):
        number = laptops(fleet, situation)[0].number
        inside: list[float] = []
        outside: list[float] = []
        for delivery in diaries[number]:
            day = (UNTIL.date() - delivery.received_at.date()).days
            (inside if last <= day <= first else outside).append(
                worn(only_pack(delivery))
            )
        lower = sorted(outside[-14:])[7]
        assert max(inside) > lower + depth - CLOSE
        assert worn(only_pack(diaries[number][-1])) < max(inside) - CLOSE


def test_agents_of_several_versions_are_about(
    fleet: DemoFleet, diaries: dict[int, list[Delivery]]
) -> None:
    last = {diaries[one.number][-1].report.agent.version for one in fleet.laptops}
    platforms = {one.agent.platform for one in fleet.laptops}
    assert len(last) > 1
    assert len(platforms) > 1


def test_some_packs_are_charged_full_on_mains_with_and_without_a_limit(
    diaries: dict[int, list[Delivery]],
) -> None:
    limits: set[int | None] = set()
    hot = 0
    for diary in diaries.values():
        packs = [pack for one in diary[-60:] for pack in one.report.packs]
        full = [pack for pack in packs if pack.state == "full"]
        if len(full) > 0.75 * len(packs) > 0:
            limits.add(full[-1].charge_limit_percent)
            warmth = sorted(pack.temperature_c or 0.0 for pack in full)
            hot += warmth[len(warmth) // 2] > 40

    assert limits == {None, 80, 100}
    assert hot == 1
