"""Hashing passwords beside the event loop."""

import asyncio
import threading

import pytest
from argon2 import PasswordHasher

from fadewatch_collector.errors import TooManyAttempts
from fadewatch_collector.usecases import passwords
from fadewatch_collector.usecases.passwords import (
    PasswordQueue,
    check_password,
    hash_password,
    is_outdated,
)


async def test_a_password_is_right_or_wrong() -> None:
    password_hash = await hash_password("three boats on a lake")

    assert await check_password(password_hash, "three boats on a lake")
    assert not await check_password(password_hash, "three boats on a lane")


def test_a_weaker_hash_is_known_as_outdated() -> None:
    weak = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash("x")

    assert is_outdated(weak)


async def test_no_more_run_at_once_than_allowed_and_the_rest_wait() -> None:
    queue, running, most = PasswordQueue(at_once=2, waiting=10), set[int](), 0
    lock, gate = threading.Lock(), threading.Barrier(2, timeout=20)

    def work() -> int:
        nonlocal most
        with lock:
            running.add(threading.get_ident())
            most = max(most, len(running))
        gate.wait()
        with lock:
            running.discard(threading.get_ident())
        return 1

    assert sum(await asyncio.gather(*(queue.run(work) for _ in range(8)))) == 8
    assert most == 2


async def test_past_the_queue_s_length_one_is_sent_away_at_once() -> None:
    queue, gate = PasswordQueue(at_once=1, waiting=1), threading.Event()
    accepted = [asyncio.create_task(queue.run(gate.wait)) for _ in range(2)]
    await asyncio.sleep(0)

    with pytest.raises(TooManyAttempts) as refused:
        await queue.run(gate.wait)

    gate.set()
    await asyncio.gather(*accepted)
    assert refused.value.retry_after_s > 0
    assert await queue.run(lambda: "again") == "again"


async def test_who_has_no_password_is_let_in_by_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Not even by the one whose hash is checked in vain in their place."""
    known = "the password behind the hash that is nobody's"
    monkeypatch.setattr(
        passwords, "_nobodys_hash", lambda: PasswordHasher().hash(known)
    )

    assert not await check_password("", known)
    assert not await check_password(None, known)
    assert not await check_password("", "")
