"""Shots from their files to their files, over the same files without a solve."""

import shutil
import tempfile
from pathlib import Path

import pyarrow.parquet as pq

from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.solve_shot import Work, solve_shot
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.parquet_form import take_bytes
from carrellata.jobs.takes.store import Store

from .clock import medians, paired, ratio
from .figures import Figure, Sizes
from .sequences import tracked

ROUNDS = 5


def run(sizes: Sizes) -> list[Figure]:
    """Time reading, solving and writing every shot, with a floor of files alone.

    `stored` writes as a take is written: whole or not at all, on the disk, under two
    names. `plain` only hands the bytes to the system.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = tracked(folder, sizes.shots)
        job = load_job(path)
        out = folder / "out"
        work = Work(job=job, folder=folder, store=Store(folder=out))

        def solve() -> None:
            shutil.rmtree(out, ignore_errors=True)
            for spec in job.shots:
                solve_shot(work, spec)

        solve()
        takes = {
            spec.name: pq.read_table(work.store.take(spec.name)) for spec in job.shots
        }
        keys = {shot: take_metadata(table).keys for shot, table in takes.items()}
        sources = [folder / spec.subjects[0].file for spec in job.shots]

        def stored() -> None:
            shutil.rmtree(out, ignore_errors=True)
            for source, (shot, table) in zip(sources, takes.items(), strict=True):
                pq.read_table(source)
                work.store.put(shot, keys[shot].take, table.to_reader())

        def plain() -> None:
            shutil.rmtree(out, ignore_errors=True)
            out.mkdir()
            for source, (shot, table) in zip(sources, takes.items(), strict=True):
                pq.read_table(source)
                (out / f"{shot}.parquet").write_bytes(take_bytes(table))

        times = paired(
            {"solve": solve, "stored": stored, "plain": plain}, ROUNDS, warm=False
        )
        n_bytes = sum(len(take_bytes(table)) for table in takes.values())
    ms = {each: s / sizes.shots * 1e3 for each, s in medians(times).items()}
    return [
        Figure(
            name="shot_ms",
            value=ms["solve"],
            unit="ms",
            note=f"{sizes.shots} shots, {n_bytes / sizes.shots / 1e3:.0f} kB a take",
        ),
        Figure(name="shot_files_ms", value=ms["stored"], unit="ms"),
        Figure(name="shot_plain_files_ms", value=ms["plain"], unit="ms"),
        Figure(
            name="shot_over_files",
            value=ratio(times, "solve", "stored"),
            unit="x",
            target=2.0,
            note="reading and writing the same files with no solve",
        ),
        Figure(
            name="shot_over_plain_files",
            value=ratio(times, "solve", "plain"),
            unit="x",
            note="as above, the writes not flushed to the disk, one name a take",
        ),
    ]
