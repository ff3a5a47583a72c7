"""What a job file says, and the sentence for each way in which it can be wrong.

Over 400 lines: most are two tables of refusals, which read best in one piece.
"""

import tomllib
from fractions import Fraction
from typing import Any, get_args

import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.framing import SizeName
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.rig import ArcRig, TrackRig
from carrellata.solver.action.body import SIZES

EXAMPLE = """
schema = "carrellata.job/1"
model = 2
sequence = "ferry_dash"
rate = "24000/1001"
timecode = "01:00:00:00"
seed = 7
[world]
up = "z"
metres_per_unit = 0.01
[camera]
film_back = "super35-4perf"
aspect = 2.39
shutter_deg = 180
stop = 2.8
coc_mm = 0.025
lens_kit_mm = [18, 25, 35, 50, 75, 100]
[crew]
preset = "brisk"
operator = { reaction_s = 0.2, rest_s = 0.25, tolerance = 0.08, max_speed = 90 }
puller = { method = "eye" }
[defaults.framing]
size = "full"
place = [0.0, 0.1]
headroom = 0.08
lead_room = 0.15
angle = "level"
[scenes.hall]
lens_mm = 50
[[shots]]
name = "010"
scene = "hall"
cut = "elapsed"
frames = [1001, 1120]
handles = 8
preroll = 12
setup = "A"
shake = { level = "settled", percent = 0.2, band_hz = [0.4, 8] }
roll_deg = -2
samples_per_frame = 2
view = "three_quarter"
side = "left"
purpose = "she sees the gangway lift"
rig = { kind = "track", from = [0, 0, 150], to = [500, 0, 150], hold = "view" }
cues = [
  { frame = 1060, size = "medium" },
  { frame = 1090, subject = "guard", how = "whip" },
]
[[shots.subjects]]
file = "010_courier.parquet"
name = "courier"
at = "floor"
height_m = 1.72
[[shots.subjects]]
file = "010_guard.bvh"
name = "guard"
at = "hips"
height_m = 1.8
rate = "30"
first_sample_at = 1001
joint = "pelvis"
units = "cm"
up = "y"
"""


def faults_of(job: dict[str, Any]) -> list[str]:
    """Return the lines with which a job is refused."""
    with pytest.raises(JobError) as caught:
        parse_job(job)
    return str(caught.value).splitlines()


def test_the_whole_example_is_read() -> None:
    job = parse_job(tomllib.loads(EXAMPLE))
    shot = job.shot("010")
    assert job.rate == Fraction(24000, 1001)
    assert (shot.handles, shot.solved_frames, shot.read_from) == (
        (8, 8),
        (993, 1128),
        981,
    )
    assert shot.n_frames == 120
    assert isinstance(shot.rig, TrackRig)
    assert shot.rig.from_ == (0.0, 0.0, 150.0)
    assert shot.crew.operator.max_speed == 90.0
    assert shot.crew.puller.method == "eye"
    assert shot.framing.place == (0.0, 0.1)
    assert shot.lens_mm == 50.0
    assert shot.cues[1].subject == "guard"
    assert [s.share for s in shot.subjects] == [1.0, 0.0]
    assert [s.must_hold for s in shot.subjects] == [True, False]
    assert shot.subjects[1].rate == 30


def test_a_checked_job_written_out_reads_back_the_same() -> None:
    job = parse_job(tomllib.loads(EXAMPLE))
    assert parse_job(job.model_dump(mode="json", by_alias=True)) == job


def test_the_gate_is_the_back_cropped_to_the_aspect() -> None:
    plain = parse_job(a_job()).shots[0].camera
    wide = parse_job(tomllib.loads(EXAMPLE)).shots[0].camera
    assert (plain.gate.width_mm, plain.gate.height_mm) == (24.89, 18.66)
    assert wide.gate.height_mm == pytest.approx(24.89 / 2.39)
    assert wide.gate.width_mm == 24.89


def test_lenses_can_be_listed_one_by_one() -> None:
    lenses = [{"mm": 75, "close_focus_m": 0.9, "widest_stop": 2}, {"mm": 35}]
    camera = {"width_mm": 36, "height_mm": 24, "lenses": lenses}
    shot = parse_job(a_job(a_shot(lens_mm=75), camera=camera)).shots[0]
    assert [lens.mm for lens in shot.camera.kit] == [35, 75]
    assert shot.camera.lens(75).close_focus_m == 0.9
    assert shot.camera.back_mm == (36, 24)


def test_sizes_are_the_ones_the_solver_knows() -> None:
    assert set(get_args(SizeName)) == set(SIZES)


def test_inline_samples_take_the_place_of_a_file() -> None:
    samples = {"frame": [1001, 1002], "x": [0, 1], "y": [0, 0], "z": [0, 0.5]}
    subject = {"name": "c", "at": "floor", "height_m": 1.7, "samples": samples}
    read = parse_job(a_job(a_shot(subjects=[subject]))).shots[0].subjects[0].samples
    assert read is not None
    assert read.z == (0.0, 0.5)


def test_arcs_and_angles_in_degrees_are_read() -> None:
    arc = {
        "kind": "arc",
        "centre": [0, 0, 1],
        "radius": 3,
        "start_deg": 10,
        "sweep_deg": -40,
        "hold": "view",
    }
    framing = {"fill": 0.5, "angle": -12.5}
    shot = parse_job(a_job(a_shot(rig=arc, view=120, framing=framing))).shots[0]
    assert isinstance(shot.rig, ArcRig)
    assert shot.rig.sweep_deg == -40
    assert (shot.view, shot.framing.angle) == (120.0, -12.5)
    assert shot.framing.asked_size == 0.5


SHOT_FAULTS = [
    ({"lens_mm": 45}, "lens_mm: 45 mm is not in the kit (18, 25, 35, 50)"),
    ({"lens_mm": "50"}, 'lens_mm: must be a number of mm or "choose", got "50"'),
    ({"lens_mm": True}, 'lens_mm: must be a number of mm or "choose", got true'),
    ({"lens_mm": -3}, "lens_mm: must be > 0 mm, got -3 mm"),
    ({"lens_mm": float("inf")}, "lens_mm: must be a finite number, got Infinity"),
    (
        {"frames": [1120, 1001]},
        "frames: the last frame must be >= the first, got 1120 to 1001",
    ),
    ({"frames": [1001]}, "frames: must have 2 values, got 1"),
    ({"frames": [1001, 1120.5]}, "frames[1]: must be a whole number, got 1120.5"),
    (
        {"frames": [1, 3_000_000]},
        "frames: a shot has at most 2000000 samples, "
        "got 3000000 frames with handles and pre-roll",
    ),
    (
        {"frames": [1, 1_000_000], "samples_per_frame": 4},
        "frames: a shot has at most 2000000 samples, "
        "got 1000000 frames with handles and pre-roll, 4 samples a frame",
    ),
    ({"handles": -1}, "handles: must be 0 to 2000000 frames, got -1"),
    ({"roll_deg": 120}, "roll_deg: must be <= 90 deg, got 120 deg"),
    ({"rol_deg": 1}, 'rol_deg: unknown field; did you mean "roll_deg"'),
    ({"zzz": 1}, "zzz: unknown field"),
    (
        {"name": "a b"},
        'name: must be 1 to 64 letters, digits, "_" or "-" and start with a letter '
        'or digit, got "a b"',
    ),
    ({"name": 10}, "name: must be text in quotes, got the number 10"),
    (
        {"rig": {"kind": "track", "from": [1, 2, 3], "to": [1, 2, 3]}},
        "rig: the track has no length, from and to are the same place",
    ),
    (
        {"rig": {"kind": "track", "from": [1, 2], "to": [1, 2, 3]}},
        "rig.from: must have 3 values, got 2",
    ),
    (
        {"rig": {"kind": "track", "from": [1, 2, 3]}},
        "rig.to: is required, in scene units",
    ),
    (
        {"rig": {"kind": "crane"}},
        'rig.kind: must be one of "sticks", "track", "arc", "choose", got "crane"',
    ),
    (
        {"rig": {"kind": "sticks", "at": [1, 2, 3], "sticks": 1}},
        "rig.sticks: unknown field",
    ),
    (
        {"frames": [1, 2_000_000], "preroll": 1},
        "frames: a shot has at most 2000000 samples, "
        "got 2000001 frames with handles and pre-roll",
    ),
    (
        {"frames": [9, 1], "cues": [{"frame": 5, "fill": 1}]},
        "frames: the last frame must be >= the first, got 9 to 1",
    ),
    ({"rig": {"at": [1, 2, 3]}}, "rig.kind: is required"),
    ({"rig": 3}, "rig: must be a table, got 3"),
    (
        {
            "rig": {
                "kind": "arc",
                "centre": [0, 0, 0],
                "radius": 0,
                "start_deg": 0,
                "sweep_deg": 9,
            }
        },
        "rig.radius: must be > 0 scene units, got 0 scene units",
    ),
    (
        {
            "rig": {
                "kind": "arc",
                "centre": [0, 0, 0],
                "radius": 1,
                "start_deg": 0,
                "sweep_deg": 0,
            }
        },
        "rig.sweep_deg: must not be 0 deg, the arc has no length",
    ),
    (
        {"view": "profile"},
        'view: needs a dolly with rig.hold = "view", or a rig to choose',
    ),
    (
        {"side": "left"},
        'side: needs a dolly with rig.hold = "view", or a rig to choose',
    ),
    (
        {
            "rig": {
                "kind": "track",
                "from": [0, 0, 0],
                "to": [1, 0, 0],
                "hold": "view",
            }
        },
        'view: is required with rig.hold = "view"',
    ),
    ({"view": 200}, "view: must be 0 (front) to 180 (rear) deg, got 200 deg"),
    (
        {"framing": {"angle": 90}},
        "framing.angle: must be between -90 and 90 deg, got 90 deg",
    ),
    (
        {"framing": {"angle": "low"}},
        'framing.angle: must be "below", "level", "above" or a number of degrees',
    ),
    (
        {"framing": {"size": "closeup"}},
        'framing.size: must be one of "full", "knee", "cowboy", "medium", "chest", '
        '"close", "eyes", got "closeup"; did you mean "close"',
    ),
    (
        {"cues": [{"frame": 1050}]},
        "cues[0]: changes nothing; give size, fill or subject",
    ),
    (
        {"cues": [{"frame": 1130, "size": "close"}], "handles": [0, 4]},
        "cues[0].frame: 1130 is outside the shot with its handles (1001 to 1124)",
    ),
    (
        {"cues": [{"frame": 1050, "size": "close"}, {"frame": 1050, "fill": 2}]},
        "cues[1].frame: cues must rise, got 1050 after 1050",
    ),
    (
        {"cues": [{"frame": 1050, "subject": "guard"}]},
        'cues[0].subject: "guard" is not a subject of the shot (courier)',
    ),
    (
        {"cues": [{"frame": 1050, "size": "close", "how": "whip"}]},
        "cues[0]: a whip needs the subject it goes to",
    ),
    (
        {"shake": "roughly"},
        'shake.level: must be one of "locked", "settled", "shoulder", "rough", '
        'got "roughly"; did you mean "rough"',
    ),
    (
        {"shake": {"percent": 1, "degrees": 1}},
        "shake: has both percent and degrees; keep one",
    ),
    ({"shake": {"band_hz": [4, 2]}}, "shake: band_hz must rise, got 4 to 2 Hz"),
    ({"shake": {"band_hz": [1, 11]}}, "shake.band_hz[1]: must be <= 10 Hz, got 11 Hz"),
    (
        {"crew": {"grip": {"max_accel": -1}}},
        "crew.grip.max_accel: must be > 0 m/s2, got -1 m/s2",
    ),
    (
        {"crew": {"preset": "brsk"}},
        'crew.preset: must be one of "steady", "brisk", "sharp", "heavy_head" or a '
        'crew\'s file ending in ".toml", got "brsk"; did you mean "brisk"',
    ),
    (
        {"camera": {"film_back": "super36-4perf"}},
        "camera.film_back: must be one of super35-4perf, super35-3perf, academy, "
        "anamorphic-4perf, full-frame, super16, 16mm, 65mm-5perf, 35mm-8perf, got "
        '"super36-4perf"; did you mean "super35-4perf"',
    ),
    (
        {"camera": {"lens_kit_mm": [50, 35, 50]}},
        "camera.lens_kit_mm: 50 mm is in the kit twice",
    ),
    (
        {"camera": {"lens_kit_mm": []}},
        "camera.lens_kit_mm: must have at least 1 values, got 0",
    ),
    (
        {"camera": {"stop": 2, "lenses": [{"mm": 50, "widest_stop": 2.8}]}},
        "camera.stop: f/2 is wider than the 50 mm lens opens (f/2.8)",
    ),
    ({"subjects": []}, "subjects: must have at least 1 values, got 0"),
    # Built later.
    (
        {"crew": {"preset": "ours.toml"}},
        'crew.preset: "ours.toml" is read only with a job that is a file itself',
    ),
]


@pytest.mark.parametrize(("fields", "line"), SHOT_FAULTS)
def test_a_fault_of_a_shot_is_one_sentence(fields: dict[str, Any], line: str) -> None:
    assert faults_of(a_job(a_shot(**fields))) == [f"shots[0].{line}"]


SUBJECT_FAULTS = [
    ({"at": None}, '.at: must be one of "floor", "hips", "eyes", "head_top", got null'),
    ({"height_m": 0}, ".height_m: must be > 0 m, got 0 m"),
    ({"height": 1.7}, '.height: unknown field; did you mean "height_m"'),
    (
        {"file": "c.USDA"},
        ".prim: is required for an OpenUSD scene",
    ),
    (
        {"file": "c.xlsx"},
        ".file: must end in one of .parquet, .arrow, .csv, .bvh, .usd, .usda, .usdc, "
        '.usdz, got "c.xlsx"',
    ),
    ({"file": None}, ": needs either file or samples"),
    ({"joint": "hip"}, ".joint: is only for BVH files and OpenUSD scenes"),
    ({"prim": "/World/courier"}, ".prim: is only for OpenUSD scenes"),
    (
        {"file": "c.usd", "prim": "/courier", "first_sample_at": 1001},
        ".first_sample_at: is not for OpenUSD scenes, their codes are frames",
    ),
    ({"limit_m_s": -1}, ".limit_m_s: must be > 0 m/s, got -1 m/s"),
    ({"rate": "29.97"}, '.rate: a decimal is not exact, got "29.97"; say "30000/1001"'),
    (
        {
            "file": None,
            "samples": {"frame": [1, 2], "x": [0], "y": [0, 1], "z": [0, 1]},
        },
        ".samples: x has 1 values, the clock has 2",
    ),
    (
        {
            "file": None,
            "samples": {"frame": [2, 2], "x": [0, 1], "y": [0, 1], "z": [0, 1]},
        },
        ".samples: the clock must rise, got 2 after 2",
    ),
    (
        {
            "file": None,
            "samples": {"time_s": [0, 1], "x": [0, 1], "y": [0, 1], "z": [0, 1]},
        },
        ".first_sample_at: is required for samples in time",
    ),
]


@pytest.mark.parametrize(("fields", "line"), SUBJECT_FAULTS)
def test_a_fault_of_a_subject_is_one_sentence(
    fields: dict[str, Any], line: str
) -> None:
    shot = a_shot()
    shot["subjects"][0] |= fields
    assert faults_of(a_job(shot)) == [f"shots[0].subjects[0]{line}"]


def test_a_bvh_file_says_all_that_it_cannot_know() -> None:
    shot = a_shot()
    shot["subjects"][0]["file"] = "walk.BVH"
    missing = ("units", "up", "rate", "first_sample_at")
    assert faults_of(a_job(shot)) == [
        f"shots[0].subjects[0].{field}: is required for a BVH file" for field in missing
    ]


def test_subjects_have_names_of_their_own_and_one_has_a_share() -> None:
    twin = {"name": "Courier", "file": "d.csv", "at": "eyes", "height_m": 1.6}
    subjects = [a_shot()["subjects"][0] | {"share": 0}, twin]
    assert faults_of(a_job(a_shot(subjects=subjects))) == [
        'shots[0].subjects[1].name: "Courier" is already the name of another subject',
        "shots[0].subjects: one subject must have a share above 0",
    ]


JOB_FAULTS = [
    (
        {"schema": "carrellata.job/2"},
        'schema: must be "carrellata.job/1", got "carrellata.job/2"',
    ),
    ({"model": 1}, "model: must be 2, got 1"),
    (
        {"rate": "23.976"},
        'rate: a decimal is not exact, got "23.976"; say "24000/1001"',
    ),
    (
        {"rate": 23.976},
        'rate: must be text, not the number 23.976; say "24000/1001"',
    ),
    ({"rate": "23.98"}, 'rate: a decimal is not exact, got "23.98"; say "24000/1001"'),
    ({"rate": "25.0"}, 'rate: a decimal is not exact, got "25.0"; say "25"'),
    ({"rate": 24}, 'rate: must be text, not the number 24; say "24"'),
    (
        {"rate": "24/0"},
        'rate: must be "24", "25" or an exact ratio such as "24000/1001", got "24/0"',
    ),
    ({"rate": "2000"}, 'rate: must be 1 to 1000 frames a second, got "2000"'),
    ({"sequence": "-a"}, None),
    (
        {"timecode": "01:00:00;00"},
        'timecode: drop-frame (";") exists at 30000/1001 and 60000/1001 only, '
        "the rate is 24000/1001",
    ),
    (
        {"world": {"up": "Z", "metres_per_unit": 1}},
        'world.up: must be one of "y", "z", got "Z"',
    ),
    ({"world": {"up": "z"}}, "world.metres_per_unit: is required"),
    ({"stage": {"floor": []}}, "stage.floor: must have at least 3 values, got 0"),
    ({"sequnce": 1}, 'sequnce: unknown field; did you mean "sequence"'),
    (
        {"framing": {}},
        "framing: is a field of shots; put it in [defaults] or in a shot",
    ),
    ({"shots": []}, "shots: a job needs at least one shot"),
    ({"shots": {}}, "shots: must be a list, got a table"),
    ({"shots": [3]}, "shots[0]: must be a table, got 3"),
    ({"scenes": 3}, "scenes: must be a table, got 3"),
    ({"seed": -1}, "seed: must be >= 0, got -1"),
]


@pytest.mark.parametrize(("fields", "line"), JOB_FAULTS)
def test_a_fault_of_the_file_is_one_sentence(
    fields: dict[str, Any], line: str | None
) -> None:
    name_rule = (
        'sequence: must be 1 to 64 letters, digits, "_" or "-" and start with a letter '
        'or digit, got "-a"'
    )
    assert faults_of(a_job(**fields)) == [line or name_rule]


def test_shake_must_fit_the_frame_rate() -> None:
    job = a_job(a_shot(shake={"band_hz": [0.5, 8]}), rate="12")
    assert faults_of(job) == [
        "shots[0].shake.band_hz: the top must be <= 5.4 Hz (0.45 of 12 frames a "
        "second), got 8 Hz"
    ]
    parse_job(a_job(a_shot(shake={"band_hz": [0.5, 5.4]}), rate="12"))


def test_a_shot_may_be_one_frame_long() -> None:
    assert parse_job(a_job(a_shot(frames=[-5, -5]))).shots[0].n_frames == 1


def test_names_differ_in_more_than_case() -> None:
    job = a_job(a_shot(name="10a", scene="hall"), a_shot(name="10A", scene="Hall"))
    assert faults_of(job) == [
        'shots[1].name: "10A" is already the name of shots[0]',
        'shots[1].scene: "Hall" and "hall" differ only in case',
    ]


def test_every_fault_of_a_job_is_told_at_once() -> None:
    shot = a_shot(
        lens_mm=45, frames=[9, 1], roll_deg=100, rig={"kind": "sticks"}, extra=1
    )
    job = a_job(shot, a_shot(name="020", view="side"), rate="x", wrld=1)
    assert len(faults_of(job)) == 8
