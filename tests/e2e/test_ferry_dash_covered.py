"""The example's last scene as one action: five cameras that are laid, and a cut."""

import json
from pathlib import Path
from typing import Any

import pytest

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


def test_the_pictures_of_the_readme_are_of_this_solve(outcome: Outcome) -> None:
    drawn = dict(pictures_of("cover.toml", outcome.folder))
    assert drawn
    for name, words in drawn.items():
        kept = (PICTURES / f"{name}.svg").read_bytes()
        assert len(kept) < 60_000
        assert words.encode() == kept, f"{name}.svg: see DEVELOPERS.md"
