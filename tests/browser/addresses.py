"""The addresses of every page that is looked at in a browser."""

from tests.fixtures.shown_fleet import (
    STOP_USE_LAPTOP,
    SWAPPED_LAPTOP,
    TWO_PACK_LAPTOP,
)

PACK_TYPE = "Veldan%7CVC-52%7CmWh%7C52000%7C"

PATHS = (
    "/",
    "/?state=ended",
    "/alerts/1",
    "/laptops",
    f"/laptops/{STOP_USE_LAPTOP}",
    f"/laptops/{SWAPPED_LAPTOP}",
    f"/laptops/{TWO_PACK_LAPTOP}/sheet",
    f"/laptops/{SWAPPED_LAPTOP}/forget",
    "/laptops/999",
    "/packs/3",
    "/agents",
    "/agents/set-up",
    "/issue",
    "/order",
    f"/order/type?pack_type={PACK_TYPE}",
    "/order/stock",
    "/visits",
    "/visits?state=done",
    "/visits/sheets",
    "/fleet",
    f"/fleet/packs?type={PACK_TYPE}",
    "/charging",
    "/charging?packs=all",
    "/removed",
    "/places",
    "/about",
    "/account",
    "/settings/policy",
    "/settings/policy/edit?scope=fleet",
    "/settings/told",
    "/settings/tokens",
    "/settings/accounts",
    "/inspect/fwi_unknown",
    "/inspected/signs",
)
"""Pages that an administrator opens."""

BEFORE_SIGN_IN = ("/sign-in", "/sign-in/once")
"""Pages for somebody who is not signed in."""
