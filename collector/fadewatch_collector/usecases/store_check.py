"""Check a store: is the file or database whole, and does what must hold, hold."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fadewatch_collector.errors import StoreIsNewer
from fadewatch_collector.store import soundness
from fadewatch_collector.store.schema import known_revisions, revisions
from fadewatch_collector.store.soundness import Checked
from fadewatch_collector.store.store import Store


@dataclass(slots=True)
class StoreCheck:
    """What a check of the whole store found."""

    revision: str | None
    newest_revision: str
    checks: list[Checked] = field(default_factory=list)

    @property
    def is_sound(self) -> bool:
        """Say whether nothing was found."""
        return not any(one.found for one in self.checks)

    @property
    def is_current(self) -> bool:
        """Say whether the store is at this program's revision."""
        return self.revision == self.newest_revision

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON takes it."""
        return {
            "sound": self.is_sound,
            "revision": self.revision,
            "newest_revision": self.newest_revision,
            "checks": [
                {
                    "what": one.what,
                    "found": one.found,
                    "examples": list(one.examples),
                    "left_out": one.left_out,
                }
                for one in self.checks
            ],
        }


async def check_store(
    store: Store, on_check: Callable[[Checked], None] = lambda _: None
) -> StoreCheck:
    """Check a store as it is at one moment; the service may go on beside it.

    A store of an older schema is checked as far as the database itself goes.

    Raises
    ------
    StoreIsNewer
        A newer Fadewatch wrote it, which alone knows what must hold in it.
    """
    found = await revisions(store)
    told = StoreCheck(found.found, found.known)
    if found.found is not None and found.found not in known_revisions():
        raise StoreIsNewer(found.found, found.known)

    def keep(one: Checked) -> None:
        told.checks.append(one)
        on_check(one)

    async with soundness.looking(store) as connection:
        by_database = (
            soundness.checked_by_sqlite
            if store.is_sqlite
            else soundness.checked_by_postgres
        )
        async for one in by_database(connection):
            keep(one)
        if told.is_current:
            keep(await soundness.checked_schema(connection))
            async for one in soundness.checked_rows(connection):
                keep(one)
        else:
            why = f"the store is at {found.found or 'no revision'}, not {found.known}"
            keep(Checked("what must hold between the rows", left_out=why))
    return told
