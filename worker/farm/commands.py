"""The commands of the farm.

What they need is imported when they run, so that help stays quick.
"""

import signal
import threading
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...jobs.commands.groups import FARM, example
from ...jobs.commands.solve import AsJson, JobPath, app
from ...jobs.commands.terminal import print_json, progress_bar
from ...jobs.errors import CancelledError, InputError

if TYPE_CHECKING:
    from ...jobs.places.place import Place
    from .farm import BatchStatus, Farm

BatchId = Annotated[str, typer.Argument(metavar="ID", help="Name of the batch.")]
Wait = Annotated[bool, typer.Option("--wait", help="Stay until it has ended.")]


class PoolName(StrEnum):
    """Pools of workers."""

    batch = "batch"
    interactive = "interactive"


@app.command(rich_help_panel=FARM, epilog=example("submit job.toml -o takes --wait"))
def submit(
    job: JobPath,
    out: Annotated[
        str | None,
        typer.Option(
            "-o",
            "--out",
            metavar="OUT",
            help="Folder, s3:// or gs:// for takes; default, the farm's.",
        ),
    ] = None,
    shots: Annotated[
        str | None, typer.Option(metavar="A,B", help="Only these shots.")
    ] = None,
    follow: Annotated[
        bool,
        typer.Option("--follow", help="Use subject files as they are when solved."),
    ] = False,
    wait: Wait = False,
    now: Annotated[
        bool,
        typer.Option("--now", help="Solve one shot ahead of all batches, and wait."),
    ] = False,
    timeout_s: Annotated[
        float,
        typer.Option(
            "--timeout", min=0.1, metavar="S", help="Longest wait with --now, s."
        ),
    ] = 60.0,
    as_json: AsJson = False,
) -> None:
    """Put a job on the farm and print the name of its batch."""
    from ...jobs.job.load import load_job
    from ...jobs.places.place import place_of
    from .submission import submit as put

    farm = _farm()
    place = farm.settings.outputs[0] if out is None else place_of(out, "--out")
    names = None if shots is None else [one.strip() for one in shots.split(",")]
    if now:
        _solve_now(farm, job, place, names, timeout_s, as_json=as_json)
        return
    done = put(
        farm, load_job(job), folder=job.parent, out=place, shots=names, follow=follow
    )
    if wait:
        if not as_json:
            typer.echo(f"batch {done.batch}", err=True)
        _follow(farm, done.batch, as_json=as_json)
    elif as_json:
        print_json({"batch": done.batch, "is_new": done.is_new, "shots": done.n_shots})
    else:
        typer.echo(done.batch)
        if not done.is_new:
            typer.echo("the same work is on the farm already", err=True)


@app.command(rich_help_panel=FARM, epilog=example("status --farm"))
def status(
    batch: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="Default: all that are open.")
    ] = None,
    of_farm: Annotated[
        bool, typer.Option("--farm", help="Print the state of the farm itself.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Print the state of a batch, or of the farm."""
    from .farm import open_batches
    from .farm import status as look

    farm = _farm()
    if of_farm:
        _say_health(farm, as_json=as_json)
        return
    found = open_batches(farm) if batch is None else [look(farm, batch)]
    if as_json:
        print_json({"batches": [plain_status(one) for one in found]})
        return
    for one in found:
        typer.echo(status_line(one))
    if batch is None and not found:
        typer.echo("no batch is open")


@app.command(rich_help_panel=FARM, epilog=example("watch ID"))
def watch(batch: BatchId, as_json: AsJson = False) -> None:
    """Show the progress of a batch until it has ended."""
    _follow(_farm(), batch, as_json=as_json)


@app.command(rich_help_panel=FARM, epilog=example("cancel ID"))
def cancel(batch: BatchId, as_json: AsJson = False) -> None:
    """Stop a batch; shots that are done keep their takes."""
    from .farm import cancel as stop

    now = stop(_farm(), batch)
    if as_json:
        print_json(plain_status(now))
    else:
        typer.echo(status_line(now))


@app.command(rich_help_panel=FARM, epilog=example("retry ID --wait"))
def retry(batch: BatchId, wait: Wait = False, as_json: AsJson = False) -> None:
    """Solve again those shots of a batch that have no take."""
    from .submission import retry as again

    farm = _farm()
    done = again(farm, batch)
    if wait:
        _follow(farm, batch, as_json=as_json)
    elif as_json:
        print_json({"batch": batch, "shots": done.n_shots})
    else:
        typer.echo(f"{batch}: {done.n_shots} shots queued again")


@app.command(
    rich_help_panel=FARM, epilog=example("worker --pool interactive --processes 2")
)
def worker(
    pool: Annotated[
        PoolName, typer.Option(help="Pool whose messages it takes.")
    ] = PoolName.batch,
    processes: Annotated[
        int | None,
        typer.Option(min=1, help="Shots at a time; default: one a processor."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="Name of this worker, unique on the farm.")
    ] = None,
) -> None:
    """Solve what is on the farm until told to stop."""
    from ...jobs.processes.pool import n_processors
    from .pool import run_worker
    from .settings import load_settings

    code = run_worker(
        load_settings(),
        pool=pool.value,
        processes=processes or n_processors(),
        name=name,
    )
    raise typer.Exit(code)


@app.command(rich_help_panel=FARM, epilog=example("sweeper --metrics 9108"))
def sweeper(
    metrics: Annotated[
        int | None,
        typer.Option(min=1, max=65535, metavar="PORT", help="Serve metrics here."),
    ] = None,
    metrics_host: Annotated[
        str, typer.Option(help="Address that metrics are served on.")
    ] = "127.0.0.1",
) -> None:
    """Repair what crashes left undone, until told to stop."""
    from .logs import log_as_json
    from .sweeper import Sweeper

    farm = _farm()
    log_as_json()
    if metrics is not None:
        _serve_metrics(farm, metrics_host, metrics)
    stopped = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopped.set())
    Sweeper(farm=farm).run(stopped.wait)


@app.command(
    name="prune-records",
    rich_help_panel=FARM,
    epilog=example("prune-records --days 14"),
)
def prune_records(
    days: Annotated[
        float, typer.Option(min=0, help="Keep batches that ended within so many days.")
    ] = 14.0,
    state: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Of a service; default: the farm's spool."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Remove the records of batches that have ended; takes stay."""
    import time

    from ...jobs.run.spool import Spool

    before_s = time.time() - 86_400.0 * days
    if state is None:
        farm = _farm()
        gone = farm.spool.prune(before_s)
        farm.spool.prune_requests(before_s)
    else:
        if not (state / "batches").is_dir():
            raise InputError(str(state), "holds no records of a service")
        gone = Spool(folder=state / "batches").prune(before_s)
        for name in gone:
            (state / "told" / name).unlink(missing_ok=True)
    if as_json:
        print_json({"removed": gone})
    else:
        typer.echo(f"records of {len(gone)} batches removed")


def status_line(now: "BatchStatus") -> str:
    """Return how far a batch is, in one line."""
    counts = ", ".join(f"{n} {status}" for status, n in now.counts.items())
    line = f"{now.batch}  {now.sequence}  {now.state}  {now.done} of {now.total}"
    if not now.closed:
        line += f" in {now.phase}"
    return line + (f" ({counts})" if counts else "") + (now.error and f": {now.error}")


def plain_status(now: "BatchStatus") -> dict[str, Any]:
    """Return how far a batch is as plain values."""
    from dataclasses import asdict

    return {**asdict(now), "counts": dict(now.counts)}


def _solve_now(
    farm: "Farm",
    path: Path,
    out: "Place",
    names: Sequence[str] | None,
    timeout_s: float,
    *,
    as_json: bool,
) -> None:
    """Have one shot of a job solved at once, and end as `solve` does."""
    from ...jobs.commands.report import shot_lines
    from ...jobs.job.load import load_job
    from .at_once import only_shot, solve_at_once

    job = only_shot(load_job(path), names)
    row = solve_at_once(farm, job, folder=path.parent, out=out, timeout_s=timeout_s)
    folder = out / job.sequence
    if as_json:
        print_json({"folder": str(folder), "shots": [row.plain()]})
    else:
        for line in shot_lines([row]):
            typer.echo(line)
        typer.echo(f"takes in {folder}")
    if row.take_key is None:
        raise typer.Exit(1)


def _farm() -> "Farm":
    from .farm import connect
    from .settings import load_settings

    return connect(load_settings())


def _serve_metrics(farm: "Farm", host: str, port: int) -> None:
    from importlib.util import find_spec

    from .metrics import serve_metrics

    if find_spec("prometheus_client") is None:
        message = 'needs prometheus-client: pip install "carrellata[service]"'
        path = "--metrics"
        raise InputError(path, message)
    try:
        serve_metrics(farm, host, port)
    except OSError as error:
        path, reason = "--metrics", (error.strerror or "cannot be used").lower()
        message = f"port {port} cannot be listened on: {reason}"
        raise InputError(path, message) from error


def _follow(farm: "Farm", batch: str, *, as_json: bool) -> None:
    """Show a batch until it has ended, then end as `solve` does."""
    from ...jobs.commands.action_lines import action_lines, covered, plain_actions
    from ...jobs.commands.report import count_line, shot_lines
    from ...jobs.run.run import actions_of_shots
    from ...jobs.takes.sequence_table import ShotRow
    from .farm import outcomes, watch, where

    shown = 0
    with progress_bar() as progress:
        for now in watch(farm, batch, every_s=0.5):
            for _ in range(max(0, now.done - shown) if progress else 0):
                progress(None, now.total)  # type: ignore[misc]
            shown = max(shown, now.done)
    rows = [ShotRow(**each["row"]) for each in outcomes(farm, batch)]
    record = farm.spool.read(batch)
    names = actions_of_shots(record.job, {row.shot for row in rows})
    actions = covered(where(record), names)
    if as_json:
        plain = [row.plain() for row in rows]
        said = {"actions": plain_actions(actions), "shots": plain}
        print_json({**plain_status(now), **said})
    else:
        for line in (*shot_lines(rows), *action_lines(where(record), actions)):
            typer.echo(line)
        typer.echo(f"{count_line(rows)}; takes in {now.folder}")
    if now.state == "cancelled":
        message = f"batch {batch} was cancelled with {now.done} of {now.total} done"
        raise CancelledError(message)
    if now.n_bad or now.state == "failed":
        raise typer.Exit(1)


def _say_health(farm: "Farm", *, as_json: bool) -> None:
    from dataclasses import asdict

    from ...jobs.errors import ServiceError
    from .health import farm_health, health_lines
    from .settings import shown_broker

    health = farm_health(farm)
    if as_json:
        print_json(asdict(health))
    elif health.redis:
        for line in health_lines(health):
            typer.echo(line)
    if not health.redis:
        message = f"Redis at {shown_broker(farm.settings.broker)} does not answer"
        raise ServiceError(message)
