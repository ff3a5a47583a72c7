"""What a job file says."""

import tomllib
from fractions import Fraction
from typing import get_args

import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.job.framing import SizeName
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.rig import ArcRig, TrackRig
from carrellata.solver.action.body import SIZES

EXAMPLE = """
schema = "carrellata.job/1"
model = 1
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


def test_a_shot_may_be_one_frame_long() -> None:
    assert parse_job(a_job(a_shot(frames=[-5, -5]))).shots[0].n_frames == 1
