"""The crew of a job, live: what the batch makes of the same samples, to the bit."""

from typing import Any

import numpy as np
import pytest
from library_jobs import FIRST, N_FRAMES, one_shot, way

import carrellata

POSE = ("cam_x", "cam_y", "cam_z", "x", "y", "z", "qx", "qy", "qz", "qw")
POSE += ("pan_deg", "tilt_deg", "rail_m", "focus_m")


def job_of(*, up: str, unit_m: float, head: bool, **shot: Any) -> dict[str, Any]:
    """A walk on twos, hidden for a while, in a scene's axes and units."""
    points = way()
    points = points[np.arange(N_FRAMES) // 2 * 2]
    columns = [points / unit_m]
    if head:
        columns.append((points + np.array([0.02, 1.6, 0.0])) / unit_m)
    if up == "z":
        columns = [np.column_stack([p[:, 0], -p[:, 2], p[:, 1]]) for p in columns]
    samples = carrellata.samples(
        columns[0],
        first_frame=FIRST,
        facing_deg=np.linspace(0.0, 90.0, N_FRAMES),
        visible=(np.arange(N_FRAMES) < 20) | (np.arange(N_FRAMES) > 28),
    )
    if head:
        samples |= {f"head_{n}": columns[1][:, c] for c, n in enumerate("xyz")}
    rig = {"kind": "track", "from": [0, 1.5, 8], "to": [2.6, 1.5, 8]}
    if up == "z":
        rig = {"kind": "track", "from": [0, -800, 150], "to": [260, -800, 150]}
    job = one_shot(samples, rig=rig, crew={"puller": {"method": "eye"}}, **shot)
    return job | {"world": {"up": up, "metres_per_unit": unit_m}}


def walked(job: dict[str, Any], crew: carrellata.LiveCrew) -> list[dict[str, float]]:
    """What the crew made of the samples of a job, a frame at a time."""
    samples = job["shots"][0]["subjects"][0]["samples"]
    names = [n for n in ("x", "y", "z", "head_x", "head_y", "head_z") if n in samples]
    state, out = crew.start(), []
    for k in range(N_FRAMES):
        point = [float(samples[name][k]) for name in names]
        seen = [point if samples["visible"][k] else None]
        state = crew.step(state, seen, [float(samples["facing_deg"][k])])
        assert state.frame == FIRST + k
        places = (*state.position, *state.base, *state.quaternion)
        values = (*places, state.pan_deg, state.tilt_deg, state.rail_m, state.focus_m)
        out.append(dict(zip(POSE, values, strict=True)))
    return out


@pytest.mark.parametrize("head", [False, True])
@pytest.mark.parametrize(("up", "unit_m"), [("y", 1.0), ("z", 0.01)])
def test_a_live_crew_is_the_batch_to_the_bit(
    up: str, unit_m: float, head: bool
) -> None:
    job = job_of(up=up, unit_m=unit_m, head=head, shake="shoulder")
    job["shots"][0]["framing"] = {"size": "full", "look_room": 0.2}
    take = carrellata.solve_shot(job).to_numpy()
    frames = walked(job, carrellata.LiveCrew(job))
    for name in POSE:
        assert np.array_equal([one[name] for one in frames], take[name]), name


def test_only_the_first_samples_are_needed() -> None:
    job = job_of(up="y", unit_m=1.0, head=False)
    whole = walked(job, carrellata.LiveCrew(job, "010"))
    first = {**job["shots"][0]["subjects"][0]}
    first["samples"] = {name: v[:3] for name, v in first["samples"].items()}
    short = job | {"shots": [job["shots"][0] | {"subjects": [first]}]}
    assert walked(job, carrellata.LiveCrew(short)) == whole


def test_what_cannot_be_seen_is_refused() -> None:
    crew = carrellata.LiveCrew(job_of(up="y", unit_m=1.0, head=False))
    state = crew.start()
    assert crew.subjects == ("walker",)
    assert state.frame is None
    for _ in range(4):
        state = crew.step(state, [(0.0, 0.0, 0.0)])
    with pytest.raises(ValueError, match="a point for each of walker, got 2"):
        crew.step(state, [None, None])
    with pytest.raises(ValueError, match="walker must be at 3 or 6 finite numbers"):
        crew.step(state, [(0.0, float("nan"), 0.0)])
    with pytest.raises(ValueError, match=f"before {FIRST + 4}, got {FIRST + 9}"):
        crew.see(state, [None], FIRST + 9)
    for _ in range(N_FRAMES - 4):
        state = crew.step(state, [None])
    with pytest.raises(ValueError, match=f"frames of 010 end with {FIRST + 47}"):
        crew.step(state, [None])


def test_a_shot_that_is_not_there_or_open_is_refused() -> None:
    job = job_of(up="y", unit_m=1.0, head=False)
    with pytest.raises(carrellata.JobError, match="one of the job's shots"):
        carrellata.LiveCrew(job, "020")
    with pytest.raises(carrellata.ShotDataError, match="no setup was chosen yet"):
        carrellata.LiveCrew(job_of(up="y", unit_m=1.0, head=False, lens_mm="choose"))
