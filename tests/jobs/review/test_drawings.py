"""Drawings of a take show its numbers, on any stage and in scenes of either axis."""

import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pyarrow as pa
import pytest
from walks import walk, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.review.curves import curves
from carrellata.jobs.review.frame_view import frame_view
from carrellata.jobs.review.plan_view import plan_view
from carrellata.jobs.review.shown import shown_of
from carrellata.jobs.review.spectrum import shake_spectrum
from carrellata.jobs.review.svg import Box
from carrellata.jobs.review.time_plots import (
    Plot,
    PlotLine,
    clock_of,
    time_plot,
    time_plots,
)
from carrellata.jobs.review.views import frame_drawing, plan_drawing
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.keys import keys_of
from carrellata.solver.crew.operator import SAFE

BOX = Box(left=0, top=0, width=300, height=300)


def solved(job_fields: dict[str, Any] | None = None, **fields: Any) -> pa.Table:
    job = parse_job(walking_job(walking_shot("010", **fields), **(job_fields or {})))
    prepared = prepare(job, job.shots[0], Path())
    return solve_prepared(job, prepared, keys_of(job, prepared.spec, prepared.inputs))


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def numbers(text: str | None) -> list[float]:
    return [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", text or "")]


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [each for each in root.iter() if name in (each.get("class") or "").split()]


def on_ground(plan: ElementTree.Element, x: float, y: float) -> list[float]:
    (pixels,) = numbers(plan.get("data-pixels-per-metre"))
    left, top = numbers(plan.get("data-origin"))
    return [(x - left) / pixels, (top - y) / pixels]


def test_keep_outs_and_floor_are_drawn_where_the_stage_has_them() -> None:
    floor = [[-200, -300], [800, -300], [800, 600], [-200, 600]]
    kiosk = {"name": "kiosk", "from": [300, 550, 0], "to": [200, 500, 250]}
    stage = {"floor": floor, "keep_outs": [kiosk]}
    plan = parsed(plan_view(shown_of(solved(stage=stage)), BOX))
    (box,) = of_class(plan, "keep_out")
    left, top, width, height = (
        float(box.get(name, "")) for name in ("x", "y", "width", "height")
    )
    assert on_ground(plan, left, top) == pytest.approx([2.0, 5.5], abs=1e-3)
    assert on_ground(plan, left + width, top + height) == pytest.approx(
        [3.0, 5.0], abs=1e-3
    )
    (outline,) = of_class(plan, "floor")
    corners = np.array(numbers(outline.get("d"))).reshape(-1, 2)
    drawn = [on_ground(plan, x, y) for x, y in corners]
    np.testing.assert_allclose(drawn, np.array([*floor, floor[0]]) / 100, atol=2e-3)
    # Hatching stays inside what it fills.
    (hatch,) = of_class(plan, "hatch")
    ends = np.array(numbers(hatch.get("d"))).reshape(-1, 2)
    assert len(ends) >= 4
    assert (ends >= [left - 0.02, top - 0.02]).all()
    assert (ends <= [left + width + 0.02, top + height + 0.02]).all()


def test_keep_outs_that_are_not_in_the_picture_are_not_named() -> None:
    far = {"name": "far", "from": [9000, 9000, 0], "to": [9100, 9100, 250]}
    near = {"name": "near", "from": [200, 500, 0], "to": [300, 550, 250]}
    plan = parsed(plan_view(shown_of(solved(stage={"keep_outs": [far, near]})), BOX))
    named = [each.text for each in of_class(plan, "label")]
    assert "near" in named
    assert "far" not in named
    assert len(of_class(plan, "keep_out")) == 1


def test_no_name_of_a_keep_out_stands_over_the_scale_bar() -> None:
    low = {"name": "low", "from": [-4000, -9000, 0], "to": [9000, -52, 250]}
    shown = shown_of(solved(stage={"keep_outs": [low]}))
    plan = parsed(plan_view(shown, BOX))
    bar = next(each for each in plan.iter("g") if each.get("id") == "scale_bar")
    high = min(float(each.get("y1", "")) for each in bar.iter("line")) - 20
    for each in of_class(plan, "label"):
        if each.text == "low":
            assert float(each.get("y", "")) < high


def test_curves_keep_their_places_where_flat_runs_are_left_out() -> None:
    shown = shown_of(solved())
    values = np.zeros(len(shown.frames))
    values[5:9], values[12] = 2.0, np.nan
    clock = clock_of(shown, BOX)
    plot = Plot(name="steps", curves=(PlotLine(values=values, kind="pan"),))
    (curve,) = of_class(parsed(time_plot(clock, plot)), "pan")
    pieces = [
        np.array(numbers(piece)).reshape(-1, 2)
        for piece in (curve.get("d") or "").split("M")[1:]
    ]
    across = clock.scale.all(shown.times_s)
    (x, y), (after, _) = pieces[0].T, pieces[1].T
    assert len(x) < 12
    drawn = np.interp(across[:12], x, y)
    np.testing.assert_allclose(drawn[5:9], drawn[6], atol=0.5)
    assert set(np.flatnonzero(np.abs(drawn - y[0]) > 1)) == {5, 6, 7, 8}
    assert after[0] == pytest.approx(across[13], abs=0.006)


def test_plots_drawn_together_are_those_drawn_alone() -> None:
    shown = shown_of(solved())
    n = len(shown.frames)
    rising = PlotLine(values=np.linspace(-3.0, 40.0, n), kind="pan")
    gap = PlotLine(values=np.where(np.arange(n) < 4, np.nan, 7.0), kind="bearing")
    nothing = PlotLine(values=np.full(n, np.nan), kind="pan")
    edges = (np.full(n, 1.0), np.full(n, np.inf))
    plots = [
        Plot(name="limited", curves=(rising, gap), limit=45.0, ceiling=50.0),
        Plot(name="empty", curves=(nothing,)),
        Plot(name="held", curves=(gap,), corridor=edges, ceiling=20.0),
    ]
    clock = clock_of(shown, BOX)
    together = time_plots(clock, plots)
    assert together == [time_plot(clock, plot) for plot in plots]
    limited, empty, held = map(parsed, together)
    assert [each.get("d") for each in of_class(empty, "pan")] == [""]
    assert len(of_class(limited, "limit")) == 2
    low, high = (
        {y for _, y in np.array(numbers(each.get("d"))).reshape(-1, 2).tolist()}
        for each in of_class(held, "corridor")
    )
    # What is beyond the end of the axis runs along it.
    assert min(low) > BOX.top
    assert high == {BOX.top}


def test_plan_of_a_scene_with_y_up_is_that_of_the_same_scene_with_z_up() -> None:
    samples = walk()
    turned = samples | {"y": samples["z"], "z": [-y for y in samples["y"]]}
    rigs = [
        {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]},
        {"kind": "track", "from": [0, 150, 0], "to": [500, 150, 0]},
    ]
    body = {"name": "runner", "at": "floor", "height_m": 1.7}
    plans = [
        plan_view(
            shown_of(
                solved(
                    {"world": {"up": up, "metres_per_unit": 0.01}, "seed": 1},
                    rig=rig,
                    subjects=[body | {"samples": table}],
                )
            ),
            BOX,
        )
        for up, rig, table in (("z", rigs[0], samples), ("y", rigs[1], turned))
    ]
    one, two = (np.array(numbers(plan)) for plan in plans)
    assert len(one) == len(two) > 50
    np.testing.assert_allclose(one, two, atol=0.02)


def test_corners_of_the_frame_stand_at_the_safe_area_and_nothing_is_tinted() -> None:
    shown = shown_of(solved())
    frame = parsed(frame_view(shown, Box(left=0, top=0, width=200, height=0)))
    corners = max(
        (numbers(each.get("d")) for each in of_class(frame, "guide")), key=len
    )
    across = np.array(corners).reshape(-1, 2)[:, 0]
    assert across.min() == pytest.approx(100 * (1 - SAFE), abs=0.01)
    assert across.max() == pytest.approx(100 * (1 + SAFE), abs=0.01)
    filled = [each for each in frame.iter("rect") if each.get("fill") != "none"]
    assert [each.get("class") for each in filled] == ["edge"]


def test_decisions_have_a_tick_in_their_plots() -> None:
    shown = shown_of(solved())
    drawn = {one.title: one for one in curves(shown)}
    for title, column in (
        ("Subject against camera, deg/s", "decided_pan"),
        ("Dolly speed, m/s", "decided_dolly"),
        ("Place up the frame, half frames", "decided_tilt"),
    ):
        plot = parsed(f"<g>{drawn[title].body}</g>")
        ticks = "".join(each.get("d") or "" for each in of_class(plot, "decision"))
        assert ticks.count("M") == shown.flags(column).sum()
    assert shown.flags("decided_dolly").sum() > 0


def test_limit_is_drawn_where_it_is_near_and_told_where_it_is_far() -> None:
    shown = shown_of(solved())
    values = np.linspace(-2.0, 2.0, len(shown.frames))
    curve = (PlotLine(values=values, kind="pan"),)
    near = Plot(name="near", curves=curve, limit=3.0)
    far = Plot(name="far", curves=curve, limit=90.0)
    clock = clock_of(shown, BOX)
    drawn = parsed(time_plot(clock, near))
    assert len(of_class(drawn, "limit")) == 2
    assert of_class(parsed(time_plot(clock, far)), "limit") == []
    high, low = (float(each.get("y1", "")) for each in of_class(drawn, "limit"))
    line = np.array(numbers(of_class(drawn, "pan")[0].get("d")))[1::2]
    # The curve reaches two thirds of the way to the limit on both sides.
    middle = (high + low) / 2
    assert (middle - line[-1]) / (middle - high) == pytest.approx(2 / 3, abs=1e-3)
    assert (line[0] - middle) / (low - middle) == pytest.approx(2 / 3, abs=1e-3)


def test_a_whip_over_the_operators_own_limits_is_told_as_a_whip() -> None:
    one = walking_shot("010")["subjects"][0]
    away = [x + 700.0 for x in one["samples"]["x"]]
    other = one | {"name": "other", "samples": one["samples"] | {"x": away}}
    middle = len(away) // 2
    cue = {"frame": one["samples"]["frame"][middle], "subject": "other", "how": "whip"}
    shown = shown_of(solved(subjects=[one, other], cues=[cue]))
    notes = {drawing.title: drawing.note for drawing in curves(shown)}
    told = [title for title, note in notes.items() if "in a whip" in note]
    assert "Pan acceleration, deg/s\u00b2" in told
    assert all("2.5 times" in notes[title] for title in told)
    assert not any(title.startswith("Dolly") for title in told)
    said = " ".join(notes.values())
    assert max(float(share) for share in re.findall(r"\((\d+) %\)", said)) <= 100


def test_corridor_is_the_tolerance_around_what_was_asked() -> None:
    table = solved()
    shown = shown_of(table)
    drawn = next(one for one in curves(shown) if "across" in one.title)
    plot = parsed(f"<g>{drawn.body}</g>")
    edges = [
        np.array(numbers(each.get("d"))).reshape(-1, 2)[:, 1]
        for each in of_class(plot, "corridor")
    ]
    # The numbers of the axis stand left of the plot.
    labels = [each for each in plot.iter("text") if float(each.get("x", "")) == 42 - 7]
    scale = {
        float((each.text or "").replace("\u2212", "-")): float(each.get("y", "")) - 4
        for each in labels
    }
    values, heights = np.array(list(scale)), np.array(list(scale.values()))
    slope = np.polyfit(values, heights, 1)[0]
    tolerance = shown.metadata.crew.operator["tolerance"]
    apart = (edges[0] - edges[1]) / -slope
    np.testing.assert_allclose(apart, 2 * tolerance, rtol=0.02)


def test_sticks_have_no_dolly_and_a_locked_camera_no_spectrum() -> None:
    rig = {"kind": "sticks", "at": [150, -200, 150]}
    shown = shown_of(solved(rig=rig, shake="locked"))
    assert not [one for one in curves(shown) if "Dolly" in one.title]
    assert shake_spectrum(shown) is None
    assert "stands still" in plan_drawing(shown).words
    moving = shown_of(solved(shake="rough", lens_mm=50))
    assert shake_spectrum(moving) is not None


def test_subject_that_is_hidden_or_out_of_frame_is_told_so() -> None:
    samples = walk()
    visible = [not 1010 <= frame <= 1014 for frame in samples["frame"]]
    body = {"name": "runner", "at": "floor", "height_m": 1.7}
    table = solved(subjects=[body | {"samples": {**samples, "visible": visible}}])
    drawing = frame_drawing(shown_of(table))
    assert "not to be seen in 5 frames" in drawing.words


def test_shot_of_one_frame_can_be_drawn() -> None:
    shown = shown_of(solved(frames=[1005, 1005], handles=0))
    for drawing in (plan_drawing(shown), frame_drawing(shown), *curves(shown)):
        assert "nan" not in parsed(drawing.svg).get("aria-label", "").lower()
        assert "nan" not in drawing.body
