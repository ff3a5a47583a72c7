"""Small valid jobs as plain tables, for tests to bend."""

from typing import Any

import pytest

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job


def a_shot(**fields: Any) -> dict[str, Any]:
    """Return the tables of a shot on straight track, with fields replaced."""
    subject = {"name": "courier", "file": "c.csv", "at": "floor", "height_m": 1.72}
    shot = {
        "name": "010",
        "frames": [1001, 1120],
        "subjects": [subject],
        "rig": {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]},
        "lens_mm": 50,
    }
    return shot | fields


def a_job(*shots: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return the tables of a job with these shots, or one, and fields replaced."""
    job = {
        "schema": "carrellata.job/1",
        "sequence": "ferry_dash",
        "rate": "24000/1001",
        "world": {"up": "z", "metres_per_unit": 0.01},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [18, 25, 35, 50]},
        "defaults": {"framing": {"size": "full"}},
        "shots": list(shots) or [a_shot()],
    }
    return job | fields


ACCEPTED = {"finding": "crosses_line", "reason": "she turns", "by": "director"}
FULL_SHOT = a_shot(
    scene="hall",
    crew={"preset": "sharp", "operator": {"rest_s": 0.2}, "puller": {"method": "eye"}},
    framing={"place": [0, 0.1], "angle": 3},
    cues=[{"frame": 1050, "subject": "courier", "how": "whip"}],
    shake={"level": "rough", "band_hz": [1, 8]},
    handles=[4, 8],
    setup="A",
    keep_setup={"from": "last", "margin": 0.2},
    accept=[ACCEPTED],
)
OPEN_SHOT = a_shot(
    name="030",
    scene="hall",
    rig={"kind": "choose", "kinds": ["sticks", "arc"], "hold": "size"},
    lens_mm="choose",
    height="choose",
    side="choose",
    view="profile",
    setup="B",
    keep_setup=False,
)
STAGE = {
    "floor": [[0, 0], [9, 0], [9, 9]],
    "keep_outs": [{"name": "kiosk", "from": [0, 0, 0], "to": [1, 1, 1]}],
    "height_m": [0.3, 2.6],
    "ground": 0,
    "straight_m": 2.44,
    "curve_radius_m": [3.1],
}
HABITS = {
    "lens_use": {"35": 0.4},
    "size_use": {"full": 1},
    "variety": 1,
    "cut_weights": {"crosses_line": 12},
}
FULL_JOB = a_job(
    FULL_SHOT,
    a_shot(name="020"),
    OPEN_SHOT,
    scenes={"hall": {"roll_deg": 1}},
    stage=STAGE,
    habits=HABITS,
)


def faults_of(job: dict[str, Any]) -> list[str]:
    """Return the lines with which a job is refused."""
    with pytest.raises(JobError) as caught:
        parse_job(job)
    return str(caught.value).splitlines()
