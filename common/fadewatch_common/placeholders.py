"""Serials and ids that firmware ships by the thousand and that identify nothing."""

import re
from functools import lru_cache

_PLACEHOLDER = re.compile(
    r"""
    (.)\1*                                     # empty-ish: 0000, FFFF, ----
    | (to\ be\ filled|default|not\ (specified|available|applicable)|n/?a|none|null
       |unknown|invalid|oem|o\.e\.m|system\ serial|serial\ number|chassis\ serial
       |base\ board\ serial|empty|undefined|test)
      (\W.*)?                       # whole words: a name may begin like one of them
    | 0?123456789.*
    | (0x)?[0f]+
    """,
    re.VERBOSE | re.IGNORECASE,
)
_PLACEHOLDER_UUIDS = frozenset(
    {
        "00000000-0000-0000-0000-000000000000",
        "ffffffff-ffff-ffff-ffff-ffffffffffff",
        "03000200-0400-0500-0006-000700080009",
        "00020003-0004-0005-0006-000700080009",
        "12345678-1234-5678-90ab-cddeefaabbcc",
    }
)
"""UUIDs that firmware is known to ship unset (from memory)."""


@lru_cache(maxsize=2048)
def is_placeholder(text: str | None) -> bool:
    """Say whether a serial, or a maker's or model's name, identifies nothing."""
    stripped = (text or "").strip()
    return not stripped or _PLACEHOLDER.fullmatch(stripped) is not None


def is_placeholder_uuid(text: str | None) -> bool:
    """Say whether a board UUID identifies nothing."""
    lower = (text or "").strip().lower()
    return is_placeholder(lower.replace("-", "")) or lower in _PLACEHOLDER_UUIDS
