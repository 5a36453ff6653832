"""The tables. Times are UTC, capacities in the pack's own unit, wear a fraction."""

from fadewatch_collector.store.tables.access import (
    agent_keys,
    api_tokens,
    audit,
    enrolment_tokens,
    operator_identities,
    operator_sessions,
    operators,
    single_sign_ins,
    store_values,
)
from fadewatch_collector.store.tables.alerting import (
    alerts,
    finding_watches,
    notification_routes,
    outbox,
)
from fadewatch_collector.store.tables.base import metadata
from fadewatch_collector.store.tables.care import (
    forgotten_laptops,
    inspection_links,
    inspections,
    place_changes,
    place_imports,
    policies,
    removed_packs,
    swaps,
)
from fadewatch_collector.store.tables.charging import (
    charging_habits,
    daily_charging,
)
from fadewatch_collector.store.tables.finding import search_terms
from fadewatch_collector.store.tables.fleet import (
    assessments,
    daily_capacity,
    inventory_changes,
    laptops,
    packs,
    readings,
    reports,
    slot_stays,
    unreadable_reports,
)
from fadewatch_collector.store.tables.outcomes import (
    fleet_figures,
    kept_forecasts,
    threshold_passings,
)
from fadewatch_collector.store.tables.queues import assessment_queue, filing_queue
from fadewatch_collector.store.tables.stock import pack_stock
from fadewatch_collector.store.tables.visits import visits

__all__ = [
    "agent_keys",
    "alerts",
    "api_tokens",
    "assessment_queue",
    "assessments",
    "audit",
    "charging_habits",
    "daily_capacity",
    "daily_charging",
    "enrolment_tokens",
    "filing_queue",
    "finding_watches",
    "fleet_figures",
    "forgotten_laptops",
    "inspection_links",
    "inspections",
    "inventory_changes",
    "kept_forecasts",
    "laptops",
    "metadata",
    "notification_routes",
    "operator_identities",
    "operator_sessions",
    "operators",
    "outbox",
    "pack_stock",
    "packs",
    "place_changes",
    "place_imports",
    "policies",
    "readings",
    "removed_packs",
    "reports",
    "search_terms",
    "single_sign_ins",
    "slot_stays",
    "store_values",
    "swaps",
    "threshold_passings",
    "unreadable_reports",
    "visits",
]
