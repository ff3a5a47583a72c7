"""What a take over HTTP costs, stage by stage, and under load.

    PYTHONPATH=tests .venv/bin/python -m bench.service            two minutes
    PYTHONPATH=tests .venv/bin/python -m bench.service short      half a minute

Loopback, one machine: the load and the service share its processors. The last two
columns are processor time of the measuring process, which other work on the machine
lengthens less.
"""

import json
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kept_batches import kept
from service_process import Service, running, walk_job

from carrellata.jobs.job.load import tables_of_json
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.judge_once import judge_shot
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.run.solve_shot import Work
from carrellata.jobs.takes.keys import Keys, judge_key, setup_of, take_key
from carrellata.worker.client import ARROW, JSON, PARQUET, Client
from carrellata.worker.service import warmed
from carrellata.worker.service.limits import Limits
from carrellata.worker.service.results import rendered
from carrellata.worker.service.rules import Rules
from carrellata.worker.service.solving import KeepingReader, TakesInMemory, solve_take

FRAMES = 240
OPEN_FRAMES = 120
CLIENTS = 50
FAST = "[tokens.limits]\nrequests_per_s = 1000000\nburst = 1000000\nin_flight = 1000"
OPEN = {"rig": {"kind": "choose"}} | dict.fromkeys(
    ("lens_mm", "side", "view", "height"), "choose"
)


def spread(function: Callable[[], Any], count: int) -> tuple[float, ...]:
    """Return p50 and p95 of the time of a call, then of its processor time [ms]."""
    function()
    times, busy = [], []
    for _ in range(count):
        start, before = time.perf_counter(), time.process_time()
        function()
        times.append(1e3 * (time.perf_counter() - start))
        busy.append(1e3 * (time.process_time() - before))
    return *percentiles(times), *percentiles(busy)


def percentiles(times: list[float]) -> tuple[float, float]:
    ordered = sorted(times)
    return statistics.median(ordered), ordered[int(0.95 * (len(ordered) - 1))]


def line(name: str, found: tuple[float, ...]) -> None:
    print(f"{name:44s}" + "".join(f"{one:9.2f}" for one in found), flush=True)


def head(name: str) -> None:
    columns = ("p50 ms", "p95 ms", "busy p50", "busy p95")
    print(f"{name:44s}" + "".join(f"{one:>9s}" for one in columns), flush=True)


def stages(count: int) -> None:
    """Print what each step takes inside a solving process."""
    head(f"in the process, {FRAMES} frames, one subject")
    rules = Rules(project="bench", root=None, limits=Limits())
    read = KeepingReader(rules=rules)
    body = json.dumps(walk_job(FRAMES)).encode()
    tables = tables_of_json(body, label="body")
    job = parse_job(tables)
    spec = job.shots[0]
    ready = prepare(job, spec, Path(), read=read)
    judge = judge_key(job, spec, ready.inputs)
    keys = Keys(judge=judge, take=take_key(judge, setup_of(spec)))
    table = solve_prepared(job, ready, keys)
    line("  JSON to tables", spread(lambda: tables_of_json(body, label="b"), count))
    line("  tables to a checked job", spread(lambda: parse_job(tables), count))
    line(
        "  subjects, kept from before, to a shot",
        spread(lambda: prepare(job, spec, Path(), read=read), count),
    )
    line("  keys", spread(lambda: judge_key(job, spec, ready.inputs), count))
    line(
        "  solve, measure, table",
        spread(lambda: solve_prepared(job, ready, keys), count),
    )
    for form in (JSON, PARQUET, ARROW):
        name = f"  table to {form.rpartition('/')[2]}"
        line(name, spread(lambda form=form: rendered(table, form), count))
    open_job = parse_job(walk_job(OPEN_FRAMES, **OPEN))
    store = TakesInMemory(folder=Path(), project="bench")
    work = Work(job=open_job, folder=Path(), store=store, read=read)
    judged = judge_shot(work, open_job.shots[0])
    line(
        f"  judge {judged.n_tried} setups, {OPEN_FRAMES} frames",
        spread(lambda: judge_shot(work, open_job.shots[0]), max(5, count // 5)),
    )
    fresh = iter(range(10**6))

    def whole(form: str) -> None:
        changed = walk_job(FRAMES, roll_deg=1e-6 * next(fresh))
        solve_take(json.dumps(changed).encode(), rules, form)

    line("  all of it, JSON", spread(lambda: whole(JSON), count))


def requests(service: Service, count: int) -> None:
    """Print what a client sees: one number changed from request to request."""
    head("over HTTP, one client, its JSON included")
    fresh = iter(range(1, 10**6))
    with Client(service.address, service.tokens["north"]) as asks:

        def scrub(n_frames: int, form: str, **fields: Any) -> Callable[[], Any]:
            job = walk_job(n_frames, **fields)

            def ask() -> None:
                job["shots"][0]["roll_deg"] = 1e-6 * next(fresh)
                if form == JSON:
                    asks.take(job)
                else:
                    asks.take_bytes(job, form=form)

            return ask

        for form in (JSON, PARQUET, ARROW):
            name = f"  fixed setup, {FRAMES} frames, {form.rpartition('.')[2]}"
            line(name, spread(scrub(FRAMES, form), count))
        job = walk_job(FRAMES)
        line("  the same request again, JSON", spread(lambda: asks.take(job), count))
        name = f"  everything open, {OPEN_FRAMES} frames, JSON"
        line(name, spread(scrub(OPEN_FRAMES, JSON, **OPEN), max(10, count // 5)))


def load(service: Service, seconds: float) -> None:
    """Print what many clients see at once, and what the service holds."""
    times: list[float] = []
    errors: list[Exception] = []
    until = time.monotonic() + seconds
    sizes = [memory_mb(service)]

    def scrub(number: int) -> None:
        job = walk_job(FRAMES)
        with Client(service.address, service.tokens["north"], attempts=1) as asks:
            k = 0
            while time.monotonic() < until:
                k += 1
                job["shots"][0]["roll_deg"] = 1e-6 * (1000 * number + k % 200)
                start = time.perf_counter()
                try:
                    asks.take_bytes(job, form=ARROW, wait_s=30)
                except Exception as error:
                    errors.append(error)
                times.append(1e3 * (time.perf_counter() - start))

    threads = [threading.Thread(target=scrub, args=(k,)) for k in range(CLIENTS)]
    for thread in threads:
        thread.start()
    while time.monotonic() < until:
        time.sleep(seconds / 6)
        sizes.append(memory_mb(service))
    for thread in threads:
        thread.join()
    p50, p95 = percentiles(times)
    print(
        f"{CLIENTS} clients for {seconds:g} s: {len(times)} takes, {len(errors)} errors"
    )
    print(
        f"  {len(times) / seconds:.0f} takes a second, p50 {p50:.0f}, p95 {p95:.0f} ms"
    )
    print(f"  memory of all processes, MB: {', '.join(f'{s:.0f}' for s in sizes)}")
    if errors:
        raise errors[0]


def memory_mb(service: Service) -> float:
    """Return what the service and its processes hold, without shared pages."""
    assert service.process is not None
    total = 0.0
    for process in Path("/proc").glob("[0-9]*"):
        try:
            fields = (process / "stat").read_text().rpartition(")")[2].split()
            if int(fields[3]) == service.process.pid:  # its session
                rollup = (process / "smaps_rollup").read_text()
                total += float(rollup.split("Pss:")[1].split()[0]) / 1024
        except OSError:
            continue
    return total


def starts(kept_batches: int) -> None:
    """Print how long a service takes from its command to its first answer."""
    head(f"start with {kept_batches} batches kept")
    for _ in range(3):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            kept(folder / "state", kept_batches)
            before = time.perf_counter()
            with running(folder, {"north": FAST}, cold=True) as service:
                answers = time.perf_counter() - before
                service.until_ready()
                warm = time.perf_counter() - before
                print(f"answers after {answers:5.2f} s, warm after {warm:5.2f} s")


def main() -> None:
    """Print the tables."""
    short = sys.argv[1:] == ["short"]
    count = 50 if short else 300
    assert warmed
    stages(count)
    starts(0)
    starts(100 if short else 1000)
    with (
        tempfile.TemporaryDirectory() as name,
        running(Path(name), {"north": FAST}, "--cache-mb", "16") as service,
    ):
        requests(service, count)
        load(service, 10.0 if short else 60.0)


if __name__ == "__main__":
    main()
