"""What happened to the fleet of `fleet_store`: days, alerts, visits, stock, changes.

Written by statements of SQLite, for a store of the newest schema that `fill` has filled.
"""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from sqlalchemy import text

from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.store.stock import keep_stock
from fadewatch_collector.store.store import Store
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import list_stock
from tests.benchmarks.fleet_store import NOW

WATCHED = 500
"""Packs with daily values over a year [count]; a page shows those of one laptop."""

STOCK = StockFigures(
    on_hand=20, on_order=50, lead_time_days=21, price_minor=6_490, currency="EUR"
)

_DAYS = """
WITH RECURSIVE ago(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM ago WHERE n < 365)
INSERT INTO daily_capacity (pack_id, day, unit, design_capacity, full_charge_capacity,
    cycle_count, readings)
SELECT id, date(:today, -n || ' days'), 'mWh', design_capacity,
    full_charge_capacity + 14.0 * n, max(1, cycle_count - n / 2), 4
FROM packs CROSS JOIN ago WHERE id <= :watched
"""

_CHARGING = """
WITH RECURSIVE ago(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM ago WHERE n < 14)
INSERT INTO daily_charging (pack_id, day, readings, judged, on_mains, near_full, held,
    temperature_c, near_full_temperature_c, lowest_charge, charge_limit_percent)
SELECT id, date(:today, -n || ' days'), 4, 4, 4, CASE (id + n) % 7 < id % 8 WHEN 1 THEN 4
    ELSE 0 END, 0, 25.0 + n % 9, 31.0 + n % 7, 0.4 + (id + n) % 50 / 100.0,
    CASE id % 3 WHEN 0 THEN 100 END
FROM packs CROSS JOIN ago ORDER BY id, 2
"""

_REPORTS = """
INSERT INTO reports (report_id, laptop_id, measured_at, received_at, body)
SELECT printf('%032x', id), id, :now, :now, '{}' FROM laptops
"""

_READINGS = """
INSERT INTO readings (pack_id, laptop_id, slot, report_id, measured_at, unit,
    design_capacity, full_charge_capacity, remaining_capacity, cycle_count, state)
SELECT id, id, 'BAT0', printf('%032x', id), :now, unit, design_capacity,
    full_charge_capacity, full_charge_capacity, cycle_count, 'full' FROM packs
"""

_ALERTS = """
INSERT INTO alerts (kind, urgency, urgency_rank, state, subject, laptop_id, pack_id, site,
    opened_at, changed_at, ended_at, ended_because, reasons, next_step, figures_opened,
    figures_now)
SELECT :kind, :urgency, :rank, :state, CASE :of_pack WHEN 1 THEN 'pack:' ELSE 'laptop:'
    END || id, id, CASE :of_pack WHEN 1 THEN id END, site,
    datetime(:now, -(id % 400) || ' days') || '.000000', :now,
    CASE :state WHEN 'ended' THEN :now END, CASE :state WHEN 'ended' THEN 'it is over' END,
    '["Wear is 41.2 % on 2026-10-30; the replace threshold is 40 %."]',
    'Look at the laptop and plan the visit.', '{}', '{}'
FROM laptops WHERE id % :every = :place
"""

_KINDS = (
    ("silent", "note", 3, "open", 0, 25, 3),
    ("silent", "note", 3, "acknowledged", 0, 50, 4),
    ("wear-replace", "act", 1, "open", 1, 50, 7),
    ("gauge-doubt", "note", 3, "planned", 1, 5_000, 12),
    ("sudden-drop", "stop-use", 0, "open", 1, 2_000, 9),
    ("wear-plan", "plan", 2, "ended", 1, 5, 2),
)
"""Kind, urgency, rank, state, of a pack, one in how many laptops, and which."""

_CARE = (
    """
    UPDATE alerts SET site = (SELECT site FROM laptops WHERE id = alerts.laptop_id),
        reasons = '["Wear is 31.2 % on 2026-10-30; the plan threshold is 30 %."]'
    WHERE site IS NULL
    """,
    "UPDATE laptops SET holder = 'Desk ' || id WHERE id % 3 > 0",
    """
    UPDATE assessments SET plan_wear = 0.3, replace_wear = 0.4,
        fade_source = 'own history',
        own_fade_per_month = 0.004 + (pack_id * 7919 % 1000) / 1e5
    """,
    """
    INSERT INTO operators (name, role, password_hash, created_at)
    WITH RECURSIVE one(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM one WHERE n < 12)
    SELECT 'technician ' || n, 'technician', 'none', :now FROM one
    """,
    """
    INSERT INTO visits (laptop_id, state, planned_on, assigned_to, matters, created_at,
        created_by, changed_at, changed_by)
    SELECT id, 'planned', date(:now, '+' || id % 20 || ' days'), 1 + id % 12,
        '["Replace the pack."]', :now, 'technician 1', :now, 'technician 1'
    FROM laptops WHERE id % 200 = 7
    """,
    """
    INSERT INTO visits (laptop_id, state, matters, work, done_at, created_at, created_by,
        changed_at, changed_by)
    SELECT id, 'done', '["Replace the pack."]', '["pack replaced"]', :now, :now,
        'technician 1', :now, 'technician 1'
    FROM laptops WHERE id % 10 = 5
    """,
    """
    INSERT INTO packs (id, identity, maker, model, serial, unit, design_capacity,
        first_seen_at, last_seen_at)
    SELECT id + 10000000, identity || ' old', maker, model, serial, unit,
        design_capacity, first_seen_at, last_seen_at FROM packs WHERE id % 25 = 4
    """,
    """
    INSERT INTO removed_packs (pack_id, laptop_id, slot, state, swollen, place,
        removed_at, removed_by, changed_at)
    SELECT id, id - 10000000, 'BAT0', 'set aside', id % 50 = 4, 'cabinet 2', :now,
        'technician 1', :now FROM packs WHERE id > 10000000
    """,
    """
    INSERT INTO swaps (laptop_id, slot, at, old_pack_id, new_pack_id, state, wrong,
        remarks)
    SELECT id - 10000000, 'BAT0', :now, id, id - 10000000, 'open', '[]', '[]'
    FROM packs WHERE id > 10000000
    """,
    """
    INSERT INTO inventory_changes (laptop_id, measured_at, item, before, after)
    SELECT id, :now, 'drive', 'null', '{"name": "nvme0n1", "size_bytes": 512110190592}'
    FROM laptops WHERE id % 5 = 1
    """,
    """
    INSERT INTO place_imports (at, who, changed)
    WITH RECURSIVE one(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM one WHERE n < 40)
    SELECT :now, 'technician 1', 900 FROM one
    """,
    """
    INSERT INTO audit (at, who, action, subject)
    SELECT :now, 'technician 1', 'alert acknowledged', 'alert:' || id FROM alerts
    """,
    """
    INSERT INTO policies (scope, changes, changed_at, changed_by)
    SELECT DISTINCT 'site:' || site, '{"plan_wear": 0.28}', :now, 'technician 1'
    FROM laptops WHERE site < 'Site 05'
    """,
)


async def live(store: Store, *, with_days: bool = True) -> None:
    """Let things happen to a filled fleet; its days are left out when others write them."""
    now = f"{NOW:%Y-%m-%d %H:%M:%S}.000000"
    if with_days:
        await _run(store, _DAYS, {"today": str(NOW.date()), "watched": WATCHED})
        await _run(store, _CHARGING, {"today": str(NOW.date())})
    for statement in (_REPORTS, _READINGS):
        await _run(store, statement, {"now": now})
    names = ("kind", "urgency", "rank", "state", "of_pack", "every", "place")
    for values in _KINDS:
        await _run(store, _ALERTS, dict(zip(names, values, strict=True), now=now))
    for statement in _CARE:
        await _run(store, statement, {"now": now} if ":now" in statement else {})


async def _run(store: Store, statement: str, values: Mapping[str, Any]) -> None:
    async with store.writing() as connection:
        await connection.execute(text(statement), values)


async def enter_stock(services: Services) -> None:
    """Enter stock, lead times and prices of every type but one."""
    known = await list_stock(services)
    async with services.store.writing() as connection:
        for one in known[1:]:
            await keep_stock(
                connection,
                one.type.key,
                STOCK,
                who="technician 1",
                now=NOW - timedelta(days=3),
                replaces=None,
                version=0,
            )
