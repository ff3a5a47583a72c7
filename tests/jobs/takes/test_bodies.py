"""Bodies beside a take: they stand where the subjects' samples say."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from walks import walk, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.bodies import facing_at, read_bodies
from carrellata.jobs.takes.keys import keys_of
from carrellata.jobs.takes.take_file import read_take, write_take
from carrellata.solver.action.body import EYES
from carrellata.solver.action.subject import Subject


def test_bodies_stand_on_the_samples_and_are_as_tall_as_they_say(
    tmp_path: Path,
) -> None:
    subjects = [
        {"name": name, "samples": walk(bend=bend), "at": "floor", "height_m": height_m}
        for name, bend, height_m in (("runner", 40.0, 1.6), ("guard", -120.0, 1.9))
    ]
    job = parse_job(walking_job(walking_shot("010", subjects=subjects)))
    prepared = prepare(job, job.shots[0], Path())
    keys = keys_of(job, prepared.spec, prepared.inputs)
    table = solve_prepared(job, prepared, keys)
    write_take(table.to_reader(), tmp_path / "010.parquet")
    table = read_take(tmp_path / "010.parquet")
    bodies = {body.name: body for body in read_bodies(table)}
    assert list(bodies) == ["guard", "runner"]
    frames = table["frame"].to_numpy()
    unit_m = job.world.metres_per_unit
    for subject in subjects:
        body = bodies[str(subject["name"])]
        samples = subject["samples"]
        rows = frames - samples["frame"][0]
        inside = (rows >= 0) & (rows < len(samples["x"]))
        for c, name in enumerate("xyz"):
            drawn = np.array(samples[name])[rows[inside]]
            np.testing.assert_allclose(body.floor[inside, c], drawn, atol=1e-3)
        rise = (body.eyes - body.floor)[:, 2] * unit_m
        np.testing.assert_allclose(rise, EYES * body.height_m, atol=1e-5)
        assert body.height_m == subject["height_m"]


def test_a_facing_turns_evenly_between_the_samples_that_tell_it() -> None:
    unknown = np.nan
    subject = Subject(
        name="a",
        times_s=np.arange(5.0),
        floor=np.zeros((5, 3)),
        eyes=np.ones((5, 3)),
        facing_rad=np.array([unknown, 3.0, unknown, -3.0, unknown]),
        fresh=np.ones(5, dtype=bool),
        visible=np.ones(5, dtype=bool),
    )
    facing = facing_at(subject, np.array([0.0, 1.0, 2.0, 3.0, 4.0]))
    # The short way round, and held where nothing tells more.
    last = 2 * np.pi - 3.0
    np.testing.assert_allclose(facing, [3.0, 3.0, np.pi, last, last])
    blind = replace(subject, facing_rad=np.full(5, unknown))
    assert np.isnan(facing_at(blind, np.array([0.5]))).all()
