"""Swaps: judge the pack that took another's place, and take a person's word."""

from collections.abc import Collection
from datetime import datetime

from fadewatch_collector.errors import ChangedMeanwhile, NotFound
from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.rules.event_findings import swap_finding
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.swap_verdict import judge_swap
from fadewatch_collector.store import alert_actions, audit, removed
from fadewatch_collector.store import swaps as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.swaps import SwapDetail, SwapFilter, SwapState
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.policies import policy_of
from fadewatch_collector.usecases.services import Services

SWAP_KINDS: frozenset[AlertKind] = frozenset({"swap-to-confirm", "wrong-pack"})


async def judge_swaps(services: Services, pack_ids: Collection[int]) -> None:
    """Judge the swaps to confirm whose new pack was just read."""
    async with services.store.writing() as connection:
        waiting = await rows.swaps_to_judge(connection, pack_ids)
        found: dict[Subject, list[Finding]] = {}
        for swap in waiting:
            arrival = await rows.arrival_of(connection, swap)
            if arrival is None:
                # What was said of it while its readings were there stands.
                continue
            kinds = await rows.pack_kinds(
                connection, {swap.old_pack_id, swap.new_pack_id}
            )
            new = kinds[swap.new_pack_id]
            policy = await policy_of(
                connection, services, swap.site, swap.laptop_maker, swap.laptop_model
            )
            verdict = judge_swap(
                kinds[swap.old_pack_id],
                new,
                arrival,
                await rows.laptops_with_type(connection, swap, new),
                policy,
                was_here_before=await rows.carried_before(connection, swap, new),
            )
            await rows.keep_verdict(connection, swap.id, verdict)
            found[swap.subject] = [swap_finding(swap.at, verdict)]
        await apply_findings(connection, found, SWAP_KINDS, services.clock())


async def list_swaps(
    services: Services,
    wanted: SwapFilter,
    *,
    before: int | None = None,
    limit: int = 100,
) -> list[SwapDetail]:
    """Return swaps, the one seen last first."""
    async with services.store.reading() as connection:
        return await rows.swaps_before(connection, wanted, before=before, limit=limit)


async def find_swap(services: Services, swap_id: int) -> SwapDetail:
    """Return one swap.

    Raises
    ------
    NotFound
        There is no such swap.
    """
    async with services.store.reading() as connection:
        swap = await rows.swap_by_id(connection, swap_id)
    if swap is None:
        raise NotFound("swap", swap_id)
    return swap


async def confirm_swap(
    services: Services, swap_id: int, operator: Operator, *, swollen: bool | None
) -> None:
    """Confirm a swap: the old pack's alerts end and its removal record begins.

    A pack that sits in another laptop by now was moved, not removed: it keeps its
    alerts and gets no record.

    Parameters
    ----------
    swollen
        Whether the removed pack was swollen; None is not told.

    Raises
    ------
    NotFound
        There is no such swap.
    ChangedMeanwhile
        It was decided already.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        swap = await _decide(connection, swap_id, "confirmed", operator.name, now)
        if not await rows.sits_somewhere(connection, swap.old_pack_id):
            await _remove(connection, swap, operator.name, now, swollen=swollen)
        await alert_actions.end_alerts_of(
            connection,
            f"pack:{swap.new_pack_id}",
            "the swap was confirmed",
            operator.name,
            now,
            kinds=SWAP_KINDS,
        )
        detail = {"swap": swap_id, "swollen": swollen}
        for subject in _subjects(swap):
            await audit.note(
                connection, now, operator.name, "swap confirmed", subject, detail
            )


async def _remove(
    connection: WriteConnection,
    swap: SwapDetail,
    who: str,
    now: datetime,
    *,
    swollen: bool | None,
) -> None:
    await alert_actions.end_alerts_of(
        connection, f"pack:{swap.old_pack_id}", "the pack was removed", who, now
    )
    await removed.add_removed(
        connection,
        pack_id=swap.old_pack_id,
        laptop_id=swap.laptop_id,
        slot=swap.slot,
        swollen=swollen,
        removed_at=swap.at,
        who=who,
        now=now,
    )


async def reject_swap(services: Services, swap_id: int, operator: Operator) -> None:
    """Say that there was no swap, or that the wrong pack goes out again.

    The question is answered; the new pack's alert of a wrong pack stays until another
    pack is fitted or a person ends it.

    Raises
    ------
    NotFound
        There is no such swap.
    ChangedMeanwhile
        It was decided already.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        swap = await _decide(connection, swap_id, "rejected", operator.name, now)
        await alert_actions.end_alerts_of(
            connection,
            f"pack:{swap.new_pack_id}",
            "the swap was rejected",
            operator.name,
            now,
            kinds={"swap-to-confirm"},
        )
        for subject in _subjects(swap):
            await audit.note(
                connection,
                now,
                operator.name,
                "swap rejected",
                subject,
                {"swap": swap_id},
            )


async def _decide(
    connection: WriteConnection,
    swap_id: int,
    state: SwapState,
    who: str,
    now: datetime,
) -> SwapDetail:
    """Take the decision for one person; whoever comes second is told."""
    done = await rows.decide_swap(connection, swap_id, state, who, now)
    # Read afterwards: it then says who was first, however close the two were.
    swap = await rows.swap_by_id(connection, swap_id)
    if swap is None:
        raise NotFound("swap", swap_id)
    if not done:
        raise ChangedMeanwhile("the swap", swap.decided_by, swap.decided_at, swap.state)
    return swap


def _subjects(swap: SwapDetail) -> tuple[str, ...]:
    return (
        f"laptop:{swap.laptop_id}",
        f"pack:{swap.old_pack_id}",
        f"pack:{swap.new_pack_id}",
    )
