"""A cut from editorial is judged as it is, and cut anew only where it is asked."""

import json
from pathlib import Path
from typing import Any

import pytest
from command_line import run
from covered_job import FIRST, LAST, action, cut_of, solve, take_bytes, write


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("chosen")
    beats = [{"frames": [1060, 1070], "camera": "ben"}]
    asked = action(cut={"first": "master", "beats": beats, "varied": 0})
    solve(write(folder, actions=[asked]), folder / "out")
    return folder


def given(folder: Path, source: Path, **fields: Any) -> Path:
    """Write the action's job with a cut that was given."""
    cut = {"file": "cut.otio", **fields}
    job = write(folder, actions=[action(cut=cut)])
    (folder / "cut.otio").write_bytes(source.read_bytes())
    return job


def otio_of(place: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(place.read_text(encoding="utf-8"))
    return found


def clips_of(timeline: dict[str, Any]) -> list[dict[str, Any]]:
    (track,) = timeline["tracks"]["children"]
    clips: list[dict[str, Any]] = track["children"]
    return clips


def recut(clips: list[dict[str, Any]], k: int, frame: int) -> None:
    """Move the cut into a clip to another frame."""
    before, here = (clip["source_range"] for clip in clips[k - 1 : k + 1])
    last = here["start_time"]["value"] + here["duration"]["value"]
    here["start_time"]["value"] = float(frame)
    here["duration"]["value"] = last - frame
    before["duration"]["value"] = frame - before["start_time"]["value"]


def test_a_cut_that_is_given_is_judged_and_stays_as_it_is(
    solved: Path, tmp_path: Path
) -> None:
    own = solved / "out/talk/actions/talk.otio"
    asked = {"first": "master", "beats": [{"frames": [1060, 1070], "camera": "ben"}]}
    solve(given(tmp_path, own, **asked), tmp_path / "out")
    chosen, judged = cut_of(solved / "out"), cut_of(tmp_path / "out")
    assert take_bytes(tmp_path / "out") == take_bytes(solved / "out")
    assert judged["given"] == "cut.otio"
    assert judged["best_points"] == judged["points"] == chosen["points"]
    assert all(one["kept"] for one in judged["pictures"])
    for name in ("frames", "camera", "parts", "cut", "brings", "findings"):
        assert [one[name] for one in judged["pictures"]] == [
            one[name] for one in chosen["pictures"]
        ]
    assert (tmp_path / "out/talk/actions/talk.otio").read_bytes() == own.read_bytes()


def test_a_given_cut_is_improved_only_where_it_is_asked(
    solved: Path, tmp_path: Path
) -> None:
    timeline = otio_of(solved / "out/talk/actions/talk.otio")
    clips = clips_of(timeline)
    starts = [int(clip["source_range"]["start_time"]["value"]) for clip in clips]
    for (
        clip
    ) in clips:  # as editorial has it: clips of its own names, one camera's media
        key = clip["active_media_reference_key"]
        media = clip["media_references"][key] | {
            "target_url": f"/rushes/talk_{key}.mov"
        }
        clip |= {"name": "A001", "media_references": {"DEFAULT_MEDIA": media}}
        clip["active_media_reference_key"] = "DEFAULT_MEDIA"
    recut(clips, 1, starts[1] - 20)
    recut(clips, 2, starts[2] + 15)
    changed = tmp_path / "changed.otio"
    changed.write_text(json.dumps(timeline), encoding="utf-8")
    job = given(tmp_path / "as_is", changed)
    solve(job, tmp_path / "as_is/out")
    as_is = cut_of(tmp_path / "as_is/out")
    moved = [starts[0], starts[1] - 20, starts[2] + 15, *starts[3:]]
    assert [one["frames"][0] for one in as_is["pictures"]] == moved
    assert as_is["points"] > as_is["best_points"]
    rows = solve(job, tmp_path / "as_is/out")["shots"]
    told = [one["text"] for each in as_is["pictures"] for one in each["findings"]]
    assert set(told) <= {one["text"] for row in rows for one in row["findings"]}
    free = [[starts[1] - 30, starts[1] + 5]]
    job = given(tmp_path / "mended", changed, improve=free)
    solve(job, tmp_path / "mended/out")
    mended = cut_of(tmp_path / "mended/out")
    assert mended["best_points"] <= mended["points"] < as_is["points"]
    on = [
        {f: p["camera"] for p in one["pictures"] for f in range(*p["frames"])}
        for one in (as_is, mended)
    ]
    differ = [f for f in on[0] if f in on[1] and on[0][f] != on[1][f]]
    assert differ
    assert free[0][0] <= min(differ) <= max(differ) <= free[0][1]
    assert {one["kept"] for one in mended["pictures"]} == {True, False}
    done = run("solve", job, "-o", tmp_path / "mended/out", "--workers", "1")
    anew = sum(not one["kept"] for one in mended["pictures"])
    said = f"as given in cut.otio, {anew} of its pictures cut anew; "
    assert said in done.out


def _bent(name: str) -> Any:
    """Return a change that makes a timeline no cut of the action, by its name."""

    def bend(timeline: dict[str, Any]) -> None:
        clips = clips_of(timeline)
        if name == "media":
            clips[1]["name"] = "b.mov"
            for media in clips[1]["media_references"].values():
                media["target_url"] = "b.mov"
        elif name == "gap":
            clips[1]["source_range"]["start_time"]["value"] += 2.0
        elif name == "outside":
            clips[-1]["source_range"]["duration"]["value"] += 48.0
        elif name == "early":
            del clips[-1]
        elif name == "rate":
            for clip in clips:
                for time in clip["source_range"].values():
                    if isinstance(time, dict):
                        time["rate"] = 25.0
                for media in clip["media_references"].values():
                    media["available_range"] = None

    return bend


BENT = {
    "media": 'cut.otio: clip 2 "b.mov": "b.mov" is no camera of the action (master, '
    "ann, ben)",
    "gap": "must begin at frame",
    "outside": f"the action has {FIRST} to {LAST}",
    "early": f"cut.otio: must end at frame {LAST}, with the action, got ",
    "rate": "cut.otio: is at 25 frames a second, the job at 24",
}


@pytest.mark.parametrize("name", BENT)
def test_a_timeline_that_is_no_cut_of_the_action_is_named_by_check(
    solved: Path, tmp_path: Path, name: str
) -> None:
    timeline = otio_of(solved / "out/talk/actions/talk.otio")
    _bent(name)(timeline)
    bent = tmp_path / "bent.otio"
    bent.write_text(json.dumps(timeline), encoding="utf-8")
    done = run("check", given(tmp_path, bent))
    assert done.code == 1
    assert BENT[name] in done.err


def test_takes_are_solved_where_the_given_cut_is_not_there(
    solved: Path, tmp_path: Path
) -> None:
    job = given(tmp_path, solved / "out/talk/actions/talk.otio")
    (tmp_path / "cut.otio").unlink()
    done = run("check", job)
    assert done.code == 1
    assert 'actions[0].cut.file: "cut.otio" is not a file' in done.err
    rows = solve(job, tmp_path / "out")["shots"]
    assert {row["status"] for row in rows} == {"solved"}
    (told,) = (one for row in rows for one in row["findings"] if one["of"] == "cut")
    assert (told["name"], told["severity"]) == ("cut_not_read", "fault")
    assert '"cut.otio" is not a file' in told["text"]
    found = cut_of(tmp_path / "out")
    assert (found["status"], found["pictures"]) == ("no_cut", [])
    strict = run("solve", job, "-o", tmp_path / "strict", "--strict", "--workers", "1")
    assert strict.code == 2
    assert not (tmp_path / "strict").exists()
