"""The pool of solving processes: one that dies or hangs touches no other."""

import asyncio
import os
import time
from collections.abc import Awaitable, Callable

import pytest

from carrellata.worker.service.pool import (
    CrashError,
    LostError,
    PoolFullError,
    SolverPool,
    TooLongError,
)


def pooled(
    work: Callable[[SolverPool], Awaitable[None]],
    *,
    processes: int = 1,
    limit_s: float = 30.0,
    queue: int = 10,
) -> None:
    async def whole() -> None:
        pool = SolverPool(processes=processes, limit_s=limit_s, queue=queue)
        await pool.start()
        try:
            await work(pool)
        finally:
            await asyncio.to_thread(pool.stop)

    asyncio.run(whole())


@pytest.mark.slow
def test_a_process_that_dies_is_replaced() -> None:
    async def work(pool: SolverPool) -> None:
        before = await pool.call(os.getpid)
        with pytest.raises(LostError):
            await pool.call(os._exit, 1)
        after = await pool.call(os.getpid)
        assert before != after
        assert pool.lost == 1
        assert (pool.busy, pool.waiting) == (0, 0)

    pooled(work)


@pytest.mark.slow
def test_a_call_that_takes_too_long_is_ended_with_its_process() -> None:
    async def work(pool: SolverPool) -> None:
        before = await pool.call(os.getpid)
        with pytest.raises(TooLongError, match=r"longer than 0\.2 s"):
            await pool.call(time.sleep, 60)
        assert await pool.call(os.getpid) != before

    pooled(work, limit_s=0.2)


@pytest.mark.slow
def test_a_call_that_raises_says_nothing_of_it_and_keeps_its_process() -> None:
    async def work(pool: SolverPool) -> None:
        before = await pool.call(os.getpid)
        with pytest.raises(CrashError, match="its log says how"):
            await pool.call(os.listdir, "/nowhere")
        assert await pool.call(os.getpid) == before

    pooled(work)


@pytest.mark.slow
def test_more_calls_than_may_wait_are_refused() -> None:
    async def work(pool: SolverPool) -> None:
        calls = [asyncio.create_task(pool.call(time.sleep, 0.2)) for _ in range(4)]
        ended = await asyncio.gather(*calls, return_exceptions=True)
        assert [type(each) for each in ended] == [
            type(None),
            type(None),
            type(None),
            PoolFullError,
        ]

    pooled(work, queue=2)


@pytest.mark.slow
def test_one_after_the_other_meets_the_same_process() -> None:
    async def work(pool: SolverPool) -> None:
        seen = {await pool.call(os.getpid) for _ in range(20)}
        assert len(seen) == 1
        calls = [pool.call(time.sleep, 0.1) for _ in range(4)]
        began = time.monotonic()
        await asyncio.gather(*calls)
        assert time.monotonic() - began > 0.19  # two at a time, not four

    pooled(work, processes=2)
