"""An action of two people, covered by several cameras and cut, from job to files."""

import json
import re
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pyarrow.parquet as pq
import pytest
from command_line import run
from covered import RATE
from covered_job import (
    FIRST,
    LAST,
    PEOPLE,
    action,
    cameras,
    cut_of,
    in_frame,
    lens_and_post,
    solve,
    take_bytes,
    write,
)

from carrellata.jobs.coverage.cutlist import read_cut


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("covered")
    beats = [{"frames": [1060, 1070], "camera": "ben"}]
    asked = action(cut={"first": "master", "beats": beats, "varied": 0})
    solve(write(folder, actions=[asked]), folder / "out")
    return folder


def test_cut_covers_the_action_and_keeps_what_is_asked(solved: Path) -> None:
    found = cut_of(solved / "out")
    assert found["status"] == "cut"
    spans = [one["frames"] for one in found["pictures"]]
    assert [a for a, _ in spans] == [FIRST, *(b + 1 for _, b in spans[:-1])]
    assert spans[-1][1] == LAST
    assert found["pictures"][0]["camera"] == "master"
    on = {f: one["camera"] for one in found["pictures"] for f in range(*one["frames"])}
    assert {on[frame] for frame in range(1060, 1070)} == {"ben"}
    assert all(one["brings"] for one in found["pictures"][1:])
    assert min(b - a + 1 for a, b in spans) >= RATE
    more = [one["other_camera"] for one in found["pictures"][1:]]
    assert all(one["more"] >= 0 for one in more if one is not None)


def test_cut_is_a_timeline_with_all_cameras_behind_every_clip(solved: Path) -> None:
    found = cut_of(solved / "out")
    place = solved / "out/talk/actions/talk.otio"
    timeline = otio.adapters.read_from_file(str(place))
    clips = timeline.find_clips()
    assert [clip.active_media_reference_key for clip in clips] == [
        one["camera"] for one in found["pictures"]
    ]
    for clip in clips:
        assert set(clip.media_references()) == {"master", "ann", "ben"}
        media = place.parent / clip.media_reference.target_url
        assert (
            media.resolve()
            == (solved / f"out/talk/takes/{clip.name}.parquet").resolve()
        )
    shots = read_cut(place, handles=0).shots
    assert [list(one.frames) for one in shots] == [
        one["frames"] for one in found["pictures"]
    ]


def test_page_of_the_cut_plays_pictures_and_draws_the_strip(solved: Path) -> None:
    found = cut_of(solved / "out")
    text = (solved / "out/talk/review/cut.html").read_text(encoding="utf-8")
    (block,) = re.findall(r'id="cut-data">(.*?)</script>', text, re.DOTALL)
    data = json.loads(block)
    assert [(one["name"], one["first"], one["count"]) for one in data["shots"]] == [
        (one["shot"], one["frames"][0], one["frames"][1] - one["frames"][0] + 1)
        for one in found["pictures"]
    ]
    assert [one["from"] for one in data["shots"]] == [
        one["frames"][0] - FIRST for one in found["pictures"]
    ]
    (cameras,) = (one["cameras"] for one in data["actions"])
    assert [one["camera"] for one in cameras] == ["master", "ann", "ben"]
    svg = re.findall(r'<svg class="covered".*?</svg>', text, re.DOTALL)[0]
    assert svg.count('class="on"') == len(found["pictures"])
    for one in found["pictures"]:
        first, last = one["frames"]
        assert f'href="#{one["shot"]}.f{first}"' in svg
        assert f">{(last - first + 1) / RATE:.1f}</text>" in svg
    assert not any(
        f["name"] == "lens_run" for p in found["pictures"] for f in p["findings"]
    )
    assert "instead:" in text


def test_takes_do_not_change_with_the_cut(solved: Path, tmp_path: Path) -> None:
    before = take_bytes(solved / "out")
    assert sorted(before) == [
        "talk_ann.parquet",
        "talk_ben.parquet",
        "talk_master.parquet",
    ]
    weights = {"small": 5, "lengths": 0.1, "turned_away": 0}
    other = action(cut={"median_s": 1.2, "shortest_s": 0.5, "weights": weights})
    rows = solve(write(tmp_path, actions=[other]), tmp_path / "out")["shots"]
    assert take_bytes(tmp_path / "out") == before
    spans = [
        [one["frames"] for one in cut_of(folder / "out")["pictures"]]
        for folder in (solved, tmp_path)
    ]
    assert spans[0] != spans[1]
    again = solve(tmp_path / "job.json", tmp_path / "out")["shots"]
    assert [row["status"] for row in again] == ["kept"] * 3
    assert [row["findings"] for row in again] == [row["findings"] for row in rows]


def test_one_camera_without_a_cut_is_the_shot_solved_alone(tmp_path: Path) -> None:
    chosen = {"rig": {"kind": "choose"}, "lens_mm": "choose"}
    single = {"name": "single", "framing": {"size": "chest"}, **chosen}
    covered = action(cameras=[single], cut="none")
    solve(write(tmp_path / "a", actions=[covered]), tmp_path / "a/out")
    alone = {
        "name": "talk_single",
        "scene": "quay",
        "frames": [FIRST, LAST],
        "subjects": PEOPLE,
        "framing": {"size": "chest"},
        **chosen,
    }
    solve(write(tmp_path / "b", shots=[alone]), tmp_path / "b/out")
    one, two = take_bytes(tmp_path / "a/out"), take_bytes(tmp_path / "b/out")
    assert one == two
    assert len(one) == 1
    assert cut_of(tmp_path / "a/out")["status"] == "cameras"


def test_cameras_that_roll_at_once_do_not_see_one_another(tmp_path: Path) -> None:
    open_rig = {"rig": {"kind": "choose", "kinds": ["sticks"]}, "lens_mm": "choose"}
    both = [
        {"name": "ann", "on": 1, "size": "chest", **open_rig},
        {"name": "ben", "on": 2, "size": "chest", **open_rig},
    ]
    solve(
        write(tmp_path, actions=[action(cameras=both, together=True)]), tmp_path / "out"
    )
    assert cut_of(tmp_path / "out")["runs"] == [["ann", "ben"]]
    takes = [
        pq.read_table(tmp_path / f"out/talk/takes/talk_{name}.parquet").to_pydict()
        for name in ("ann", "ben")
    ]
    for looks, other in (takes, takes[::-1]):
        assert not any(
            in_frame(looks, k, lens_and_post(other, k)).any()
            for k in range(len(looks["frame"]))
        )


def test_cameras_that_see_one_another_take_more_runs(tmp_path: Path) -> None:
    facing = [
        {**cameras()[0], "name": "north"},
        {
            **cameras()[0],
            "name": "south",
            "rig": {"kind": "sticks", "at": [-1, 1.6, -8]},
        },
    ]
    rows = solve(
        write(tmp_path, actions=[action(cameras=facing, together=True)]),
        tmp_path / "out",
    )["shots"]
    found = cut_of(tmp_path / "out")
    assert found["runs"] == [["north"], ["south"]]
    (north,) = (row for row in rows if row["shot"] == "talk_north")
    (told,) = (one for one in north["findings"] if one["name"] == "camera_seen")
    assert "talk_north sees talk_south at 1001" in told["text"]
    page = (tmp_path / "out/talk/review/cut.html").read_text(encoding="utf-8")
    joins = "south would roll with north but for this: north sees south from 1001 on."
    assert joins in page
    assert "2 runs" in told["text"]


def test_an_action_is_asked_for_by_its_name(solved: Path) -> None:
    rows = solve(solved / "job.json", solved / "out", "--shots", "TALK")["shots"]
    assert [row["shot"] for row in rows] == ["talk_master", "talk_ann", "talk_ben"]
    assert {row["brings"] == [] for row in rows} == {True}


def test_solve_prints_a_line_about_the_cut(solved: Path, tmp_path: Path) -> None:
    found = cut_of(solved / "out")
    done = run("solve", solved / "job.json", "-o", solved / "out", "--workers", "1")
    assert done.code == 0, done.err
    (line,) = (one for one in done.out.splitlines() if one.startswith("talk: "))
    held = sorted(b - a + 1 for a, b in (one["frames"] for one in found["pictures"]))
    middle = (held[len(held) // 2] + held[(len(held) - 1) // 2]) / 2 / RATE
    assert line == (
        f"talk: 3 cameras, {len(held) - 1} cuts, median {middle:.1f} s, "
        f"{found['points']:.1f} points; {solved}/out/talk/actions/talk.otio"
    )
    only = write(tmp_path, actions=[action(cut="none", together=True)])
    done = run("solve", only, "-o", tmp_path / "out", "--workers", "1")
    assert f"talk: 3 cameras, 1 run; {tmp_path}/out/talk/actions/talk.json" in done.out
    (told,) = solve(only, tmp_path / "out")["actions"]
    assert (told["status"], told["cuts"]) == ("cameras", 0)


def test_the_guides_job_is_solved_and_cut(tmp_path: Path) -> None:
    guide = Path(__file__).parents[2] / "jobs/coverage/README.md"
    (text,) = re.findall(
        r"^```toml\n(.*?)^```", guide.read_text(encoding="utf-8"), re.DOTALL | re.M
    )
    write(tmp_path)
    (tmp_path / "night.toml").write_text(text, encoding="utf-8")
    solve(tmp_path / "night.toml", tmp_path / "out")
    found = cut_of(tmp_path / "out")
    assert found["status"] == "cut"
    assert found["pictures"][0]["camera"] == "master"


def test_parts_of_a_run_and_several_processes_make_the_same_action(
    solved: Path, tmp_path: Path
) -> None:
    job = solved / "job.json"
    for part in ("1/2", "2/2"):
        solve(job, tmp_path / "parts", "--shard", part)
    assert take_bytes(tmp_path / "parts") == take_bytes(solved / "out")
    assert cut_of(tmp_path / "parts") == cut_of(solved / "out")
    done = run("solve", job, "-o", tmp_path / "two", "--workers", "2")
    assert done.code == 0, done.err
    assert take_bytes(tmp_path / "two") == take_bytes(solved / "out")
    assert cut_of(tmp_path / "two") == cut_of(solved / "out")


POSE = re.findall(
    r"\w+",
    "x y z pan_deg tilt_deg roll_deg cam_x cam_y cam_z qx qy qz qw focal_mm rail_m "
    "rail_speed rail_accel pan_speed pan_accel tilt_speed tilt_accel subject subject_u "
    "subject_v subject_size aim_u aim_v crown_u crown_v head_in_frame",
)


def test_no_camera_knows_what_the_action_does_next(tmp_path: Path) -> None:
    rail = {"kind": "track", "from": [-3, 1.5, 6], "to": [3, 1.5, 6]}
    follow = {"name": "follow", "on": "ann", "rig": rail, "lens_mm": 35}
    rolling = action(cameras=[*cameras(), follow], together=True)
    changed = FIRST + 60
    takes: list[dict[str, dict[str, Any]]] = []
    for name in ("as_is", "other"):
        job = write(tmp_path / name, actions=[rolling])
        if name == "other":
            for person in ("ann", "ben"):
                other_future(tmp_path / name / f"{person}.csv", changed)
        solve(job, tmp_path / name / "out")
        folder = tmp_path / name / "out/talk/takes"
        takes.append({p.stem: pq.read_table(p).to_pydict() for p in folder.iterdir()})
    assert len(takes[0]) == 4
    for shot, one in takes[0].items():
        other = takes[1][shot]
        assert one["frame"] == other["frame"]
        before = one["frame"].index(changed)
        assert before > 0
        for name in POSE:  # as text, so that what is not a number equals itself
            assert repr(one[name][:before]) == repr(other[name][:before]), (shot, name)
        assert one["subject_u"][before:] != other["subject_u"][before:]
    assert cut_of(tmp_path / "as_is/out") != cut_of(tmp_path / "other/out")


def other_future(table: Path, frame: int) -> None:
    """Have somebody jump aside, and walk on otherwise, from a frame on."""
    title, *rows = table.read_text(encoding="utf-8").splitlines()
    found = []
    for row in rows:
        number, x, y, z, turn = row.split(",")
        if int(number) >= frame:
            x = repr(float(x) + 0.2 + 0.02 * (int(number) - frame))
            turn = repr(float(turn) + 40.0)
        found.append(",".join((number, x, y, z, turn)))
    table.write_text("\n".join([title, *found]), encoding="utf-8")
