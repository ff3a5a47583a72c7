"""Pictures of the viewfinder: figures where the take has them, and the burn-in."""

import json
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from export_takes import RIGS, WORLDS, delivered
from PIL import Image
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.export import frames as pictures
from carrellata.jobs.export.scene_view import figures_of, scene_view
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import CutClock, ShotRow
from carrellata.worker.cli import main

RAIL = {"kind": "track", "from": [0.0, 1.5, 0.0], "to": [4.0, 1.5, 0.0]}


def row(label: str | None = "A") -> ShotRow:
    setup = json.dumps({"label": label, "lens_mm": 50.0, "rig": RAIL})
    return ShotRow(
        sequence="chase",
        scene="main",
        shot="010",
        status="solved",
        setup=setup,
        crew="brisk",
        purpose="",
    )


CLOCK = CutClock(timecode="01:00:00:00", frames={"000": (1, 48), "010": (1001, 1024)})


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
def test_a_figure_stands_where_the_take_has_its_subject(world, rig) -> None:
    take = delivered(world=world, rig=rig, shake="locked", roll_deg=3.0)
    figures = figures_of(take.table, take.curves)
    aim_u, aim_v, size = (
        take.table[n].to_numpy() for n in ("subject_u", "subject_v", "subject_size")
    )
    assert take_metadata(take.table).asked.framing["size"] == "full"
    for k in range(0, len(take.table), 5):
        (shape,) = scene_view(take.curves, figures, k).shapes
        points = np.vstack(shape.rings)
        # The aim point of a full figure is on the line from feet to crown.
        feet = shape.rings[0][[0, -1]].mean(axis=0)
        crown = points[np.argmax(points[:, 1])]
        across, along = crown - feet
        share = (aim_v[k] - feet[1]) / along
        assert 0 < share < 1
        assert feet[0] + share * across == pytest.approx(aim_u[k], abs=0.02)
        # Feet to crown, in frame heights; the tilt of the figure does not matter.
        ratio = take.curves.gate.tan_u / take.curves.gate.tan_v
        height = np.hypot(across * ratio, along) / 2
        assert height == pytest.approx(size[k], rel=0.02)


def test_figures_follow_the_shake() -> None:
    take = delivered(shake="rough")
    figures = figures_of(take.table, take.curves)
    shift = []
    for k in range(0, len(take.table), 3):
        (shape,) = scene_view(take.curves, figures, k).shapes
        shift.append(shape.rings[0][[0, -1]].mean(axis=0)[0])
    assert np.std(np.array(shift) - take.table["subject_u"].to_numpy()[::3]) > 0.003


def test_the_horizon_is_at_the_height_of_the_lens() -> None:
    take = delivered(rig="sticks", shake="locked")
    curves = take.curves
    view = scene_view(curves, figures_of(take.table, curves), 4)
    ((_, left), (_, right)) = view.horizon[0]
    tilt = np.radians(curves.tilt_deg[4])
    assert left == pytest.approx(right)
    # A level direction stands at minus the tilt over the axis.
    assert left == pytest.approx(np.tan(-tilt) / curves.gate.tan_v)


def test_lines_that_reach_behind_the_lens_are_cut_off() -> None:
    take = delivered(rig="sticks", shake="locked")
    view = scene_view(take.curves, figures_of(take.table, take.curves), 4)
    assert len(view.fine) > 20
    assert np.isfinite(view.fine).all()
    # What is left of the ground is under the horizon.
    assert view.fine[..., 1].max() < view.horizon[0, 0, 1]


def test_the_picture_shows_the_followed_figure_at_its_place() -> None:
    take = delivered(shake="locked")
    curves = take.curves
    size = pictures.picture_size(curves, 641)
    assert size == (640, 2 * round(640 / 2.39 / 2))
    view = scene_view(curves, figures_of(take.table, curves), 9)
    image = np.asarray(pictures.drawn(view, size, "runner")).astype(int)
    inside = np.abs(image - pictures.FOLLOWED).max(axis=2) < 12
    y, x = np.nonzero(inside)
    points = np.vstack(view.shapes[0].rings)
    left, right = (1 + points[:, 0].min()) * 320, (1 + points[:, 0].max()) * 320
    top, bottom = (
        (1 - v) * size[1] / 2 for v in (points[:, 1].max(), points[:, 1].min())
    )
    assert x.min() == pytest.approx(left, abs=2)
    assert x.max() == pytest.approx(right, abs=2)
    assert y.min() == pytest.approx(top, abs=2)
    assert y.max() == pytest.approx(min(bottom, size[1] - 1), abs=2)
    other = np.asarray(pictures.drawn(view, size, "guard")).astype(int)
    assert (np.abs(other - pictures.OTHER).max(axis=2) < 12).sum() > 500


def test_the_burn_in_says_what_editorial_asks() -> None:
    take = delivered()
    curves = take.curves
    k = int(np.flatnonzero(curves.frame == 1010)[0])
    (left, right), (lens, count) = pictures.burn_in(curves, row(), CLOCK, k)
    assert left == "chase  010  setup A"
    assert right == f"version {curves.take_key[:8]}"
    assert lens == "40 mm  f/2.8"
    # 48 frames of the shot before, then nine of this one.
    assert count == "01:00:02:09  1010"
    (left, _), (_, count) = pictures.burn_in(curves, row(None), CLOCK, 0)
    assert left.endswith("setup track")
    assert count == "01:00:01:20  997 handle"


@pytest.mark.parametrize(
    ("rate", "start", "label"),
    [
        ("24", "01:00:00:00", "01:00:02:09"),
        ("30000/1001", "00:00:59;00", "00:01:00;29"),
        ("30000/1001", "00:00:59:00", "00:01:00:27"),
        ("60", "10:00:00:00", "10:00:00:57"),
    ],
)
def test_timecode_is_counted_as_the_job_counts_it(rate, start, label) -> None:
    curves = delivered(rate=rate, rig="sticks").curves
    clock = CutClock(timecode=start, frames=CLOCK.frames)
    assert curves.rate == Fraction(rate)
    assert pictures.timecode_of(curves, clock, 1010) == label


def test_no_timecode_is_made_up() -> None:
    curves = delivered(rig="sticks").curves
    clock = CutClock(timecode=None, frames=CLOCK.frames)
    assert pictures.timecode_of(curves, clock, 1010) is None
    _, (_, count) = pictures.burn_in(curves, row(), clock, 4)
    assert count == "1001"


def test_text_is_written_into_all_four_corners() -> None:
    plain = Image.new("RGB", (640, 268), pictures.PAPER)
    texted = plain.copy()
    pictures.written(texted, (("chase 010", "version 1"), ("40 mm", "1001")))
    changed = (np.asarray(plain) != np.asarray(texted)).any(axis=2)
    for rows in (slice(0, 60), slice(-60, None)):
        for columns in (slice(0, 200), slice(-200, None)):
            assert changed[rows, columns].sum() > 50
    assert not changed[80:-80].any()
    assert not changed[:, :5].any()


def test_whole_frames_only_have_pictures() -> None:
    take = delivered(samples_per_frame=3, rig="sticks")
    rows = pictures.frame_rows(take.curves)
    assert take.curves.time_codes[rows].tolist() == list(range(997, 1029))


def test_numbers_are_as_wide_as_the_widest() -> None:
    assert pictures.file_names("a", [7, 1001]) == ["a/a.0007.png", "a/a.1001.png"]
    assert pictures.file_names("a", [99, 100000])[0] == "a/a.000099.png"


@pytest.mark.slow
def test_the_command_writes_a_picture_a_frame(tmp_path: Path) -> None:
    shot = walking_shot("010", frames=[1001, 1004], handles=1, setup="B")
    job = save_job(tmp_path, walking_job(shot, timecode="01:00:00:00"))
    solve_job(job, tmp_path / "out", workers=1)
    words = ["export", str(tmp_path / "out"), "--to", "frames", "--width", "320"]
    for folder in ("a", "b"):
        assert main([*words, "-o", str(tmp_path / folder)]) == 0
    files = files_below(tmp_path / "a")
    assert sorted(files) == [
        f"chase_010_cam/chase_010_cam.{n}.png" for n in range(1000, 1006)
    ]
    assert files == files_below(tmp_path / "b")
    for data in files.values():
        image = Image.open(BytesIO(data))
        assert image.size == (320, 134)
        assert len(image.getcolors(100_000) or []) > 20
