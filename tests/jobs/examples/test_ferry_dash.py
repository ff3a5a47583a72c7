"""The example job: what it covers, that its tables are made again, and its geometry."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from carrellata.jobs.examples.ferry_dash.make import FOLDER, write
from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.shots import Prepared, prepare
from carrellata.solver.action.body import EYES
from carrellata.solver.arrays import FloatArray
from carrellata.solver.shot import Shot
from carrellata.solver.take import Take, operate

NAMES = tuple(f"{10 * k:03d}" for k in range(1, 13))
OUTRUN = "090"
HELD_SHARE = 0.97
RATE = 24000 / 1001


@pytest.fixture(scope="module")
def job() -> JobFile:
    return load_job(FOLDER / "job.toml")


@pytest.fixture(scope="module")
def prepared(job: JobFile) -> dict[str, Prepared]:
    return {spec.name: prepare(job, spec, FOLDER) for spec in job.shots}


@pytest.fixture(scope="module")
def takes(prepared: dict[str, Prepared]) -> dict[str, Take]:
    return {name: operate(one.shot) for name, one in prepared.items()}


def table(name: str) -> pa.Table:
    return pq.read_table(FOLDER / "subjects" / f"{name}.parquet")


def column(name: str, title: str) -> FloatArray:
    return table(name)[title].to_numpy().astype(np.float64)


def speeds(name: str) -> FloatArray:
    """Speeds over the ground between neighbouring frames [m/s]."""
    x, y = column(name, "x") / 100, column(name, "y") / 100
    return np.hypot(np.diff(x), np.diff(y)) * RATE


def distance_ratios(shot: Shot) -> FloatArray:
    """Nearest distance of the rail over the framing distance, at each frame."""
    frames = np.arange(shot.first, shot.last + 1, dtype=np.float64)
    times = shot.times_of(frames)
    rail = shot.rig.places(np.linspace(0.0, shot.rig.length_m, 200))
    starts = np.array([framing.start_s for framing in shot.framings])
    asked = np.searchsorted(starts, times + 1e-9, "right") - 1
    ratios = np.zeros(len(times))
    for k, framing in enumerate(shot.framings):
        now = asked == k
        lead = shot.subjects[int(np.argmax(framing.weights))]
        points = lead.at(times[now], framing.aim)
        gaps = np.linalg.norm(points[:, None] - rail[None], axis=2).min(axis=1)
        ratios[now] = gaps / framing.distance_m
    return ratios


def test_sequence_has_twelve_shots_on_its_conditions(job: JobFile) -> None:
    assert tuple(shot.name for shot in job.shots) == NAMES
    assert job.sequence == "ferry_dash"
    assert (job.rate.numerator, job.rate.denominator) == (24000, 1001)
    assert (job.world.up, job.world.metres_per_unit) == ("z", 0.01)
    assert job.timecode is not None
    assert {shot.scene for shot in job.shots} == {"hall", "stairs_gate", "quay"}
    for shot in job.shots:
        assert 72 <= shot.n_frames <= 144
        assert shot.handles == (8, 8)
        assert shot.camera.film_back == "super35-4perf"
        assert [lens.mm for lens in shot.camera.kit] == [18, 25, 35, 50, 75, 100]
        assert len(shot.purpose) > 20


def test_cut_frames_run_on_from_shot_to_shot(job: JobFile) -> None:
    for before, after in pairwise(job.shots):
        assert after.frames[0] == before.frames[1] + 1


def test_every_lens_preset_and_shake_level_is_used(job: JobFile) -> None:
    assert {shot.lens_mm for shot in job.shots} == {18, 25, 35, 50, 75, 100}
    presets = {shot.crew.preset for shot in job.shots}
    assert presets == {"steady", "brisk", "sharp", "heavy_head"}
    levels = {shot.shake.level for shot in job.shots}
    assert levels == {"locked", "settled", "shoulder", "rough"}


def test_every_rig_and_hold_is_used(job: JobFile) -> None:
    rigs = [shot.rig for shot in job.shots]
    assert {rig.kind for rig in rigs} == {"sticks", "track", "arc"}
    assert {rig.hold for rig in rigs if rig.kind != "sticks"} == {
        "abreast",
        "size",
        "view",
    }
    tracks = [rig for rig in rigs if rig.kind == "track"]
    assert sum(rig.from_[2] != rig.to[2] for rig in tracks) == 1


def test_cues_hand_over_whip_and_change_size(job: JobFile) -> None:
    cues = [cue for shot in job.shots for cue in shot.cues]
    over = [cue.how for cue in cues if cue.subject is not None]
    assert sorted(over) == ["move", "whip"]
    assert any(cue.size is not None for cue in cues)


def test_framing_features_are_used(job: JobFile) -> None:
    assert {shot.framing.angle for shot in job.shots} == {"below", "level", "above"}
    assert any(shot.framing.lead_room > 0 for shot in job.shots)
    assert any(shot.framing.look_room > 0 for shot in job.shots)
    assert any(shot.framing.fill is not None for shot in job.shots)
    assert any(shot.roll_deg != 0 for shot in job.shots)
    assert any(shot.samples_per_frame == 2 for shot in job.shots)
    shares = [[one.share for one in shot.subjects] for shot in job.shots]
    assert [0.5, 0.5] in shares


def test_lens_stands_on_the_side_of_the_eye_line_that_is_asked(
    prepared: dict[str, Prepared],
) -> None:
    for name, one in prepared.items():
        eyes = one.shot.subjects[0].eyes[:, 1].mean()
        lens = one.shot.rig.places(np.linspace(0, one.shot.rig.length_m, 9))[:, 1]
        if one.spec.framing.angle == "below":
            assert (lens < eyes - 0.5).all(), name
        elif one.spec.framing.angle == "above":
            assert (lens > eyes + 0.5).all(), name


def test_one_shot_has_a_gap_and_one_is_on_twos(prepared: dict[str, Prepared]) -> None:
    gaps = [n for n, one in prepared.items() if not one.shot.subjects[0].visible.all()]
    assert gaps == ["100"]
    courier = prepared["060"].shot.subjects[0]
    assert courier.fresh[::2].all()
    assert not courier.fresh[1::2].any()


def test_made_tables_are_the_committed_ones(tmp_path: Path) -> None:
    write(tmp_path)
    made = sorted(path.name for path in (tmp_path / "subjects").iterdir())
    assert made == sorted(path.name for path in (FOLDER / "subjects").iterdir())
    for name in made:
        again = pq.read_table(tmp_path / "subjects" / name)
        assert again.equals(pq.read_table(FOLDER / "subjects" / name)), name


def test_example_is_small() -> None:
    files = [path for path in FOLDER.rglob("*") if "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in files if path.is_file()) < 300_000


@pytest.mark.parametrize("scene", ["hall", "stairs_gate", "quay"])
def test_shots_of_a_scene_share_one_action(job: JobFile, scene: str) -> None:
    shots = [shot for shot in job.shots if shot.scene == scene and shot.name != "060"]
    for before, after in pairwise(shots):
        for one in {s.name for s in before.subjects} & {s.name for s in after.subjects}:
            old, new = table(f"{before.name}_{one}"), table(f"{after.name}_{one}")
            first = after.frames[0] - 8
            shared = old["frame"].to_numpy() >= first
            for title in ("x", "y", "z", "facing_deg"):
                tail = old[title].to_numpy()[shared]
                assert len(tail) == 16
                assert tail.tolist() == new[title].to_numpy()[:16].tolist()


def test_sprint_rises_to_its_top_speed_exponentially() -> None:
    # v = Vm (1 - exp(-t / tau)): Furusawa, Hill & Parkinson 1927.
    frame = column("030_courier", "frame")
    since_s = (frame[:-1] + 0.5 - 1001) / RATE - 8.5
    off = since_s > 0.1
    expected = 7.0 * (1 - np.exp(-since_s[off] / 0.9))
    assert expected.max() > 6.7
    np.testing.assert_allclose(speeds("030_courier")[off], expected, atol=0.02)


@pytest.mark.parametrize(
    ("name", "step_hz", "bounce_m"),
    # Rounded after Orendurff et al. 2004, from memory.
    [("010_courier", 2.0, 0.045), ("090_courier", 2.7, 0.07)],
)
def test_head_bounces_at_the_rate_of_the_steps(
    name: str, step_hz: float, bounce_m: float
) -> None:
    rise = (column(name, "head_z") - column(name, "z")) / 100 - EYES * 1.72
    assert np.ptp(rise) == pytest.approx(bounce_m, rel=0.05)
    rates = np.linspace(1.0, 4.0, 601)
    turns = np.exp(-2j * np.pi * np.outer(rates, np.arange(len(rise)) / RATE))
    assert rates[np.abs(turns @ rise).argmax()] == pytest.approx(step_hz, abs=0.1)


def test_nobody_brakes_or_turns_harder_than_a_body_can(job: JobFile) -> None:
    # About 1.5 g is more than shoes hold: common practice, no source.
    for spec in job.shots:
        for one in spec.subjects:
            if spec.name == "060":
                continue
            x = column(f"{spec.name}_{one.name}", "x") / 100
            y = column(f"{spec.name}_{one.name}", "y") / 100
            pulls = np.hypot(np.diff(x, 2), np.diff(y, 2)) * RATE**2
            assert pulls.max() < 15.0, (spec.name, one.name)


def test_courier_stops_hard_turns_back_and_climbs() -> None:
    assert speeds("040_courier").max() > 6.5
    assert speeds("040_courier").min() < 0.2
    assert column("040_courier", "x")[-1] - column("040_courier", "x")[0] > 1000
    assert column("050_courier", "x")[-1] - column("050_courier", "x")[0] < -200
    z = column("060_courier", "z") / 100
    assert (np.diff(z) >= 0).all()
    assert np.ptp(z) > 3.0


@pytest.mark.parametrize("name", [name for name in NAMES if name != OUTRUN])
def test_rig_stands_at_the_distance_of_its_size(
    prepared: dict[str, Prepared], name: str
) -> None:
    ratios = distance_ratios(prepared[name].shot)
    assert np.mean((ratios > 0.6) & (ratios < 1.7)) >= 0.5


@pytest.mark.parametrize("name", NAMES)
def test_no_camera_stands_in_the_action(
    prepared: dict[str, Prepared], name: str
) -> None:
    shot = prepared[name].shot
    rail = shot.rig.places(np.linspace(0.0, shot.rig.length_m, 200))
    for one in shot.subjects:
        apart = one.floor[:, None, ::2] - rail[None, :, ::2]
        assert np.hypot(apart[..., 0], apart[..., 1]).min() > 1.2


@pytest.mark.parametrize("name", [name for name in NAMES if name != OUTRUN])
def test_subject_is_held(takes: dict[str, Take], name: str) -> None:
    take = takes[name]
    seen = ~np.isnan(take.u)
    assert seen.mean() > 0.9
    assert take.in_frame[seen].mean() >= HELD_SHARE


@pytest.mark.parametrize("name", NAMES)
def test_nobodys_head_is_cut(takes: dict[str, Take], name: str) -> None:
    take = takes[name]
    shown = ~take.handle & ~np.isnan(take.u)
    assert take.head_in_frame[shown].all()
    assert take.others_held[shown].all()


def test_dolly_is_outrun(takes: dict[str, Take]) -> None:
    take = takes[OUTRUN]
    runner = take.shot.subjects[0].at(take.times_s, 0.0)
    ahead = runner[:, 0] - take.base[:, 0]
    assert take.rail[:, 1].max() == pytest.approx(1.5, abs=0.01)
    assert ahead[-1] > 15.0
    # It has rail left: speed is what it lacks.
    assert take.rail[-1, 0] < take.shot.rig.length_m - 1.0
