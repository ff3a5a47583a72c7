"""OpenTrackIO samples, framing decision lists and the timeline, read by other means."""

import json
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import opentimelineio as otio
import pytest
from command_line import run
from export_takes import RIGS, WORLDS, Delivered, delivered
from library_jobs import columns, one_shot
from scipy.spatial.transform import Rotation

import carrellata
from carrellata.jobs.export.framing_list import PIXELS_A_MM, framing_list
from carrellata.jobs.export.opentrackio import opentrackio_lines
from carrellata.jobs.takes.sequence_table import CutClock

URN = re.compile(
    r"urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"
)
FDL_ID = re.compile(r"[A-Za-z0-9_]{1,32}")


def samples_of(take: Delivered, timecode: str | None = None) -> list[dict[str, Any]]:
    clock = CutClock(timecode=timecode, frames={"010": take.curves.cut})
    return [
        json.loads(one) for one in opentrackio_lines(take.curves, clock).splitlines()
    ]


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
def test_a_sample_has_the_pose_of_the_take(world: str, rig: str) -> None:
    take = delivered(world=world, rig=rig, roll_deg=7.0)
    scene = WORLDS[world]
    place = take.columns("cam_x", "cam_y", "cam_z") * scene["metres_per_unit"]
    turn = Rotation.from_quat(take.columns("qx", "qy", "qz", "qw"))
    ahead, right = turn.apply([0.0, 0.0, -1.0]), turn.apply([1.0, 0.0, 0.0])
    if scene["up"] == "y":  # of a Y-up scene, x is right, -z ahead of a Z-up one
        place, ahead, right = (
            np.column_stack([one[:, 0], -one[:, 2], one[:, 1]])
            for one in (place, ahead, right)
        )
    for k, sample in enumerate(samples_of(take)):
        (transform,) = sample["transforms"]
        moved, turned = transform["translation"], transform["rotation"]
        np.testing.assert_allclose([moved[c] for c in "xyz"], place[k], atol=1e-9)
        angles = [turned[name] for name in ("pan", "tilt", "roll")]
        theirs = Rotation.from_euler("ZXY", angles, degrees=True)
        np.testing.assert_allclose(theirs.apply([0, 1, 0]), ahead[k], atol=1e-9)
        np.testing.assert_allclose(theirs.apply([1, 0, 0]), right[k], atol=1e-9)


def test_a_sample_has_lens_camera_and_clock() -> None:
    take = delivered()
    found = samples_of(take, "01:00:00:00")
    gate = take.curves.gate
    first = found[0]
    camera = first["static"]["camera"]
    sensor = camera["activeSensorPhysicalDimensions"]
    # What is rendered: the field of view of a pinhole of this length on this sensor.
    assert sensor["width"] * gate.squeeze / (2 * 40) == pytest.approx(gate.render_tan_u)
    assert sensor["height"] / (2 * 40) == pytest.approx(gate.render_tan_v)
    assert camera["anamorphicSqueeze"] == {"num": 2, "denom": 1}
    assert camera["captureFrameRate"] == {"num": 24000, "denom": 1001}
    assert first["static"]["lens"] == {"nominalFocalLength": 40}
    assert first["lens"]["pinholeFocalLength"] == 40
    assert first["protocol"] == {"name": "OpenTrackIO", "version": [1, 0, 1]}
    focus = [one["lens"]["focusDistance"] for one in found]
    np.testing.assert_array_equal(focus, take.curves.focus_m)
    assert [one["timing"]["sequenceNumber"] for one in found] == list(range(len(found)))
    at = take.curves.frame.tolist().index(take.curves.cut[0])
    assert found[at]["timing"]["timecode"] == {
        "hours": 1,
        "minutes": 0,
        "seconds": 0,
        "frames": 0,
        "frameRate": {"num": 24000, "denom": 1001},
        "subFrame": 0,
        "dropFrame": False,
    }
    ids = [one["sampleId"] for one in found]
    assert len(set(ids)) == len(ids)
    assert all(URN.fullmatch(one) for one in (*ids, first["sourceId"]))
    assert "timecode" not in samples_of(take)[0]["timing"]


def test_a_framing_list_puts_the_delivered_frame_into_the_rendered_one() -> None:
    take = delivered()
    whole = json.loads(framing_list(take.curves))
    (context,) = whole["contexts"]
    (canvas,) = context["canvases"]
    (decision,) = canvas["framing_decisions"]
    (intent,) = whole["framing_intents"]
    gate = take.curves.gate
    size, frame = canvas["dimensions"], decision["dimensions"]
    assert frame["width"] == pytest.approx(gate.width_mm * PIXELS_A_MM)
    assert size["width"] / frame["width"] == pytest.approx(gate.overscan, rel=1e-3)
    assert 2 * decision["anchor_point"]["x"] + frame["width"] == size["width"]
    assert 2 * decision["anchor_point"]["y"] + frame["height"] == size["height"]
    ratio = Fraction(intent["aspect_ratio"]["width"], intent["aspect_ratio"]["height"])
    assert float(ratio) == pytest.approx(2.39, abs=1e-3)
    assert canvas["anamorphic_squeeze"] == gate.squeeze
    assert whole["version"] == {"major": 2, "minor": 0}
    assert (
        whole["default_framing_intent"] == intent["id"] == decision["framing_intent_id"]
    )
    assert decision["id"] == f"{canvas['id']}-{intent['id']}"
    assert FDL_ID.fullmatch(intent["id"])
    link = samples_of(take)[0]["static"]["camera"]["fdlLink"]
    assert link == f"urn:uuid:{whole['uuid']}"


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("open")
    job = one_shot(columns(), frames=[1005, 1040], handles=4)
    second = {
        **job["shots"][0],
        "name": "020",
        "rig": {"kind": "sticks", "at": [1, 1, 7]},
    }
    job["shots"].append(second)
    assert not carrellata.solve(job | {"timecode": "01:00:00:00"}, out).failed
    return out


@pytest.mark.parametrize(
    ("form", "names"),
    [
        ("opentrackio", {"first_010_cam.jsonl", "first_020_cam.jsonl"}),
        ("fdl", {"first_010_cam.fdl", "first_020_cam.fdl"}),
        ("timeline", {"first.otio"}),
        ("picture", {"first_010_cam.svg", "first_020_cam.svg"}),
    ],
)
def test_the_command_writes_every_form(
    solved: Path, form: str, names: set[str]
) -> None:
    assert run("export", solved, "--to", form).code == 0
    folder = solved / "first/export" / form
    assert {path.name for path in folder.iterdir()} == names


def test_the_timeline_names_the_takes_and_is_read_back_as_the_cut(solved: Path) -> None:
    assert run("export", solved, "--to", "timeline").code == 0
    path = solved / "first/export/timeline/first.otio"
    timeline = otio.adapters.read_from_file(str(path))
    clips = timeline.find_clips()
    assert [one.name for one in clips] == ["010", "020"]
    for one in clips:
        take = (path.parent / one.media_reference.target_url).resolve()
        assert (
            carrellata.read_take(take).take_key
            == one.metadata["carrellata"]["take_key"]
        )
    told = json.loads(run("cut", path, "--handles", "4", "--json").out)
    assert told["timecode"] == "01:00:00:00"
    assert [one["frames"] for one in told["shots"]] == [[1005, 1040]] * 2
    assert [one["handles"] for one in told["shots"]] == [[4, 4]] * 2
