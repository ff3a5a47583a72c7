"""What `check` understood, and mistakes that the numbers suggest."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import run
from library_jobs import columns, one_shot

import carrellata

N = 48


def walked(
    *, speed: float = 1.3, up: str = "y", scale: float = 1.0, frames: int = N
) -> dict[str, Any]:
    """A walk in a scene whose data have this axis up and this many units a metre."""
    points = np.zeros((frames, 3))
    points[:, 0] = speed * np.arange(frames) / 24 * 0.6
    points[:, 1 if up == "z" else 2] = speed * np.arange(frames) / 24 * 0.8
    points *= scale
    return {
        "frame": np.arange(1001, 1001 + frames),
        **dict(zip("xyz", points.T.copy(), strict=True)),
    }


def notes(samples: Any, **job: Any) -> tuple[str, ...]:
    report = carrellata.check(one_shot(samples) | job)
    assert report.faults == ()
    return report.notes


def test_a_sound_job_is_understood_without_a_note() -> None:
    report = carrellata.check(one_shot(walked()))
    assert (report.ok, report.notes, report.sequence) == (True, (), "first")
    (shot,) = report.shots
    assert (shot.size, shot.lens, shot.rig) == ("full", "50 mm", "straight track")
    (walker,) = shot.subjects
    assert walker.travels_m == pytest.approx(1.3 * (N - 1) / 24)
    assert walker.top_m_s == pytest.approx(1.3)
    assert walker.rises_m == 0.0
    assert "50 mm" in report._repr_html_()


def test_centimetres_taken_as_metres_are_suspected() -> None:
    report = carrellata.check(one_shot(walked(scale=100)))
    (*_, fault) = report.faults
    assert "moves 130 m/s" in fault.message
    assert "as centimetres (metres_per_unit = 0.01) it is 1.3 m/s" in fault.message


def test_a_pop_in_a_sound_walk_is_no_matter_of_units() -> None:
    walk = walked()
    walk["x"][20:] += 5.0
    (fault,) = carrellata.check(one_shot(walk)).faults
    assert "as centimetres" not in fault.message
    assert "raise limit_m_s" in fault.message


def test_metres_taken_as_centimetres_are_suspected() -> None:
    world = {"up": "y", "metres_per_unit": 0.01}
    rig = {"kind": "sticks", "at": [100, 150, 800]}
    job = one_shot(walked(), rig=rig) | {"world": world}
    report = carrellata.check(job)
    assert report.faults == ()
    (note,) = report.notes
    assert note.startswith("010: walker goes 0.025 m at 0.013 m/s; as metres")
    assert "1.3 m/s" in note


def test_who_stands_and_sways_is_no_matter_of_units() -> None:
    sway = {
        **columns(),
        "x": (0.01 * np.sin(np.arange(N) / 4)).tolist(),
        "z": [0.0] * N,
    }
    assert notes(sway) == ()


def test_the_other_axis_up_is_suspected() -> None:
    (note,) = notes(walked(speed=1.9, up="z"))
    assert 'with world.up = "z" it rises 0 m' in note
    (note,) = notes(
        walked(speed=1.9), world={"up": "z", "metres_per_unit": 1}, **at_z()
    )
    assert 'with world.up = "y" it rises 0 m' in note


def at_z() -> dict[str, Any]:
    """The shot seen from sticks in a Z-up scene, whatever the walk."""
    rig = {"kind": "sticks", "at": [1.0, -8.0, 1.5]}
    samples = walked(speed=1.9)
    return {"shots": one_shot(samples, rig=rig)["shots"]}


def test_stairs_are_no_matter_of_axes() -> None:
    stairs = walked(speed=1.9)
    stairs["y"] = 0.65 * np.hypot(stairs["x"], stairs["z"])
    assert notes(stairs) == ()


def test_frames_of_another_rate_are_suspected() -> None:
    (note,) = notes(walked(frames=60))
    assert "has 60 frames for the 48 asked for, as 30 is to 24" in note
    assert notes(walked(frames=70)) == ()


def test_samples_in_time_of_another_rate_are_suspected() -> None:
    walk = walked(frames=60)
    del walk["frame"]
    walk["time_s"] = 1001 / 24 + np.arange(60) / 25
    (note,) = notes(walk)
    assert "walker has 25 samples a second, the job 24 frames" in note
    assert 'rate = "25"' in note


def test_a_floor_of_seven_centimetres_is_suspected() -> None:
    stage = {"floor": [[0, 0], [0.07, 0], [0.07, 0.05], [0, 0.05]]}
    report = carrellata.check(one_shot(walked()) | {"stage": stage})
    assert any("stage.floor is 0.07 m across" in one for one in report.notes)


def test_a_solve_tells_what_a_check_tells_once(tmp_path: Path) -> None:
    job = one_shot(walked(up="z"))
    expected = carrellata.check(job).notes
    assert len(expected) == 1
    assert carrellata.solve(job).notes == expected
    assert carrellata.solve(job, tmp_path / "takes").notes == expected
    # Nothing is new the second time.
    assert carrellata.solve(job, tmp_path / "takes").notes == ()

    plain = tmp_path / "job.json"
    plain.write_text(json.dumps(carrellata.plain_tables(job)), encoding="utf-8")
    ended = run("solve", plain, "-o", tmp_path / "out", "--workers", "1")
    assert ended.code == 0
    assert f"note: {expected[0]}" in ended.err
    assert "note: " not in ended.out
