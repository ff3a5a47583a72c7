"""The example's last scene as one action: five cameras that are laid, and a cut."""

import json
from itertools import combinations, permutations
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from covered_job import in_frame

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.examples.ferry_dash.pictures import pictures_of
from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.local import Outcome, solve_job

CAMERAS = ["master", "courier", "guard", "follow", "wide"]


PICTURES = Path(__file__).resolve().parents[2] / "deploy" / "pictures"


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    out = tmp_path_factory.mktemp("covered")
    return solve_job(FOLDER / "cover.toml", out, workers=1)


@pytest.fixture(scope="module")
def cut(outcome: Outcome) -> dict[str, Any]:
    path = Path(str(outcome.folder)) / "actions/farewell.json"
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def on_at(cut: dict[str, Any], frame: int) -> str:
    return next(
        str(one["camera"])
        for one in cut["pictures"]
        if one["frames"][0] <= frame <= one["frames"][1]
    )


def is_shown(cut: dict[str, Any], camera: str, who: str, frame: int) -> bool:
    return any(a <= frame <= b for a, b in cut["shown"][camera][who])


@pytest.mark.slow
def test_every_camera_holds_heads_over_the_whole_minute(outcome: Outcome) -> None:
    assert [row.shot for row in outcome.rows] == [f"farewell_{c}" for c in CAMERAS]
    assert {row.measures["frames"] for row in outcome.rows} == {1439}
    assert (
        min(float(row.measures["head_in_frame"] or 0) for row in outcome.rows) >= 0.98
    )


@pytest.mark.slow
def test_cut_tells_its_beats_and_who_speaks_and_has_no_fault(
    outcome: Outcome, cut: dict[str, Any]
) -> None:
    asked = load_job(FOLDER / "cover.toml").actions[0].cut
    assert asked is not None
    assert cut["status"] == "cut"
    assert cut["pictures"][0]["camera"] == "master"
    for beat in asked.beats:
        for frame in range(beat.frames[0], beat.frames[1] + 1):
            assert all(
                is_shown(cut, on_at(cut, frame), who, frame) for who in beat.on or ()
            )
    spoken = [
        is_shown(cut, on_at(cut, frame), speech.who, frame)
        for speech in asked.speaks
        for frame in range(speech.frames[0], speech.frames[1] + 1)
    ]
    assert sum(spoken) / len(spoken) > 0.95
    assert all(one["brings"] for one in cut["pictures"][1:])
    found = [f for one in cut["pictures"] for f in one["findings"]]
    names = {one["name"] for one in found}
    assert not names & {"crosses_line", "adds_nothing", "beat_missed"}
    assert all(one["severity"] != "fault" for one in found)


@pytest.mark.slow
def test_every_camera_is_used_and_lengths_are_within_what_is_asked(
    cut: dict[str, Any],
) -> None:
    held = [one["frames"][1] - one["frames"][0] + 1 for one in cut["pictures"]]
    rate = 24000 / 1001
    assert min(held) >= rate
    assert max(held) <= 20 * rate
    assert {one["camera"] for one in cut["pictures"]} == set(CAMERAS)
    assert len(held) > 10


@pytest.mark.slow
def test_cameras_of_a_run_see_neither_lens_nor_post_nor_track_of_another(
    outcome: Outcome, cut: dict[str, Any]
) -> None:
    # From the written takes alone: quaternion, focal length and the rows' rails.
    takes = {
        camera: pq.read_table(
            str(outcome.folder / "takes" / f"farewell_{camera}.parquet")
        ).to_pydict()
        for camera in CAMERAS
    }
    rails = {row.shot: json.loads(row.setup)["rig"] for row in outcome.rows}
    assert sorted(name for run in cut["runs"] for name in run) == sorted(CAMERAS)
    seen: dict[frozenset[str], bool] = {}
    for looks, other in permutations(CAMERAS, 2):
        rail = rails[f"farewell_{other}"]
        ends = [rail.get(end, rail.get("at")) for end in ("from", "to")]
        track = np.linspace(*ends, 60) * [1.0, 1.0, 0.0]
        found = False
        for k in range(0, len(takes[looks]["frame"]), 4):
            x, y, z = (takes[other][name][k] for name in ("cam_x", "cam_y", "cam_z"))
            post = np.linspace([x, y, 0.0], [x, y, z], 20)
            found |= bool(in_frame(takes[looks], k, np.vstack([post, track])).any())
            here = [takes[looks][name][k] for name in ("cam_x", "cam_y")]
            found |= bool(np.hypot(here[0] - x, here[1] - y) < 100.0)  # cm
        pair = frozenset((looks, other))
        seen[pair] = seen.get(pair, False) or found
    for run in cut["runs"]:
        assert not any(seen[frozenset(pair)] for pair in combinations(run, 2))
    told = {frozenset(one["cameras"]) for one in cut["clashes"]}
    assert {pair for pair, clash in seen.items() if clash} <= told
    assert 1 < len(cut["runs"]) < len(CAMERAS)


def test_the_pictures_of_the_readme_are_of_this_solve(outcome: Outcome) -> None:
    drawn = dict(pictures_of("cover.toml", outcome.folder))
    assert drawn
    for name, words in drawn.items():
        kept = (PICTURES / f"{name}.svg").read_bytes()
        assert len(kept) < 60_000
        assert words.encode() == kept, f"{name}.svg: see DEVELOPERS.md"
