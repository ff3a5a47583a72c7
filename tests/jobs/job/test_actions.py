"""Actions become shots; what is wrong with them is named where the file has it."""

from typing import Any

import pytest
from job_tables import a_job

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.record import dump_job

PEOPLE = [
    {"name": "ann", "file": "a.csv", "at": "floor", "height_m": 1.7},
    {"name": "ben", "file": "b.csv", "at": "floor", "height_m": 1.8},
]
STICKS = {"kind": "sticks", "at": [0, 0, 150]}


def an_action(**fields: Any) -> dict[str, Any]:
    camera = {"name": "close", "on": "ben", "size": "close", "rig": STICKS}
    own = {
        "name": "talk",
        "scene": "quay",
        "frames": [1, 240],
        "handles": 8,
        "subjects": PEOPLE,
        "coverage": "dialogue",
        "cameras": [camera | {"lens_mm": 50}],
        "cut": {"first": "master"},
    }
    return own | fields


def job_of(*actions: dict[str, Any], **fields: Any) -> JobFile:
    tables = a_job(**fields)
    del tables["shots"]
    return parse_job({**tables, "actions": list(actions)})


def test_cameras_are_shots_over_the_whole_action() -> None:
    job = job_of(an_action())
    names = ["master", "single_1", "single_2", "over_1", "over_2", "close"]
    assert [spec.name for spec in job.shots] == [f"talk_{name}" for name in names]
    assert {(spec.scene, spec.frames, spec.handles) for spec in job.shots} == {
        ("quay", (1, 240), (8, 8))
    }
    assert job.actions[0].cameras == tuple(names)
    shares = {spec.name: [s.share for s in spec.subjects] for spec in job.shots}
    assert shares["talk_master"] == [1.0, 1.0]
    assert shares["talk_single_2"] == [0.0, 1.0]
    assert shares["talk_over_1"] == [1.0, 0.2]
    over = job.shot("talk_over_1")
    assert over.view == 25.0
    assert [(one.verb, one.must) for one in over.claims] == [("together", False)]
    assert job.shot("talk_close").framing.size == "close"
    assert job.action_of("talk_close") == job.actions[0]
    assert job.path_of("talk_close") == "actions[0].cameras.close"


def test_a_job_with_actions_is_read_back_as_it_was_written() -> None:
    beats = [{"frames": [10, 20], "on": "ann"}, {"frames": [30, 40], "camera": "close"}]
    job = job_of(an_action(cut={"beats": beats}), an_action(name="again", cut="none"))
    assert JobFile.model_validate(dump_job(job)) == job
    assert job.actions[1].cut is None


def test_a_camera_of_the_action_changes_one_of_its_set() -> None:
    own = {"name": "single_1", "size": "close", "lens_mm": 35}
    job = job_of(an_action(cameras=[own]))
    assert job.shot("talk_single_1").framing.size == "close"
    assert job.shot("talk_single_1").lens_mm == 35
    assert job.shot("talk_single_1").rig.kind == "choose"
    assert len(job.shots) == 5


def test_a_job_defines_sets_of_its_own() -> None:
    two = [{"name": f"on_{k}", "on": k, "rig": STICKS, "lens_mm": 50} for k in (1, 2)]
    action = an_action(coverage="pair", cameras=[], cut="none")
    job = job_of(action, coverage={"pair": {"cameras": two}})
    assert [spec.followed for spec in job.shots] == ["ann", "ben"]


def test_defaults_and_intents_reach_cameras() -> None:
    close = an_action()["cameras"][0] | {"intent": "threat"}
    job = job_of(
        an_action(cameras=[close]),
        intents={"threat": {"framing": {"angle": "below"}}},
        scenes={"quay": {"shake": "settled"}},
    )
    assert job.shot("talk_close").framing.angle == "below"
    assert {spec.shake.level for spec in job.shots} == {"settled"}


FAULTY: list[tuple[dict[str, Any], str]] = [
    (
        {"cut": {"first": "mster"}},
        'actions[0].cut.first: "mster" is no camera of the action (master, single_1, '
        "single_2, over_1, over_2, close)",
    ),
    (
        {"cut": {"beats": [{"frames": [10, 900], "on": "ann"}]}},
        "actions[0].cut.beats[0].frames: 10 to 900 do not rise inside the action "
        "(1 to 240)",
    ),
    (
        {"cut": {"beats": [{"frames": [10, 20]}]}},
        "actions[0].cut.beats[0]: needs one of on, alone, camera and tells",
    ),
    (
        {"cut": {"speaks": [{"frames": [10, 20], "who": "kim"}]}},
        'actions[0].cut.speaks[0].who: "kim" is no person of the action (ann, ben)',
    ),
    (
        {"cut": {"frist": "master"}},
        'actions[0].cut.frist: unknown field; did you mean "first"',
    ),
    (
        {"cut": "cut.edl"},
        'actions[0].cut: must be a table, the name of an .otio file or "none", got '
        '"cut.edl"',
    ),
    (
        {"cut": {"file": "cut.edl"}},
        'actions[0].cut.file: must end in .otio, got "cut.edl"',
    ),
    (
        {"cut": {"improve": [[10, 20]]}},
        "actions[0].cut: improve needs file: the cut that is improved",
    ),
    (
        {"cut": {"file": "cut.otio", "improve": [[10, 900]]}},
        "actions[0].cut.improve[0]: 10 to 900 do not rise inside the action (1 to 240)",
    ),
    (
        {"cut": {"beats": [{"frames": [10, 20], "tells": {"small": "kim"}}]}},
        'actions[0].cut.beats[0].tells: "kim" is no person of the action (ann, ben)',
    ),
    (
        {"cut": {"beats": [{"frames": [10, 20], "tells": {"reveals": "ann"}}]}},
        "actions[0].cut.beats[0].tells: reveals needs a whole shot; a beat takes "
        "together, alone, looms, small",
    ),
    (
        {"cut": {"beats": [{"frames": [10, 20], "tells": {"small": True}}]}},
        "actions[0].cut.beats[0].tells: small needs names in a beat",
    ),
    (
        {"cut": {"shortest_s": 9, "longest_s": 3}},
        "actions[0].cut: shortest_s exceeds longest_s: 9 and 3 s",
    ),
    (
        {"setup": "A"},
        "actions[0].setup: cameras of an action have no letter: each has a setup of "
        "its own",
    ),
    (
        {"coverage": "dialog", "cut": "none"},
        'actions[0].coverage: "dialog" is no set of cameras of this job',
    ),
    (
        {"coverage": None, "cameras": []},
        "actions[0].cameras: needs cameras, or coverage by a set of them",
    ),
]  # fmt: skip


def test_name_of_a_timeline_stands_for_its_table() -> None:
    short, table = (
        job_of(an_action(cut=cut)).actions[0].cut
        for cut in ("cut.otio", {"file": "cut.otio"})
    )
    assert short == table
    assert short is not None
    assert (short.file, short.improve) == ("cut.otio", ())


@pytest.mark.parametrize(("fields", "line"), FAULTY)
def test_a_fault_of_an_action_is_named(fields: dict[str, Any], line: str) -> None:
    with pytest.raises(JobError) as error:
        job_of(an_action(**fields))
    assert line in [str(fault) for fault in error.value.faults]


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ({"frames": [1, 9]}, "actions[0].cameras[0].frames: belongs in the action: all "
         "its cameras share it"),
        ({"setup": "A"}, "actions[0].cameras[0].setup: is no field of a camera"),
        ({"on": "kim"}, 'actions[0].cameras[0].on: "kim" is not in the action, or not '
         "their number from 1"),
        ({"on": 3}, "actions[0].cameras[0].on: 3 is not in the action, or not their "
         "number from 1"),
        ({"on": None, "over": "ann"}, "actions[0].cameras[0].over: needs on: whom the "
         "camera follows"),
        ({"lens_mm": 51}, "actions[0].cameras[0].lens_mm: 51 mm is not in the kit (18, "
         "25, 35, 50)"),
        ({"name": None}, "actions[0].cameras[0].name: is required, as text"),
    ],
)  # fmt: skip
def test_a_fault_of_a_camera_is_named(fields: dict[str, Any], line: str) -> None:
    camera = an_action()["cameras"][0] | fields
    with pytest.raises(JobError) as error:
        job_of(an_action(cameras=[camera]))
    assert line in [str(fault) for fault in error.value.faults]


def test_cameras_have_different_names() -> None:
    camera = an_action()["cameras"][0]
    with pytest.raises(JobError) as error:
        job_of(an_action(cameras=[camera, camera]))
    lines = [str(fault) for fault in error.value.faults]
    assert lines == [
        'actions[0].cameras[1].name: "talk_close" is already the name of '
        "actions[0].cameras[0]"
    ]
