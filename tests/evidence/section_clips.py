"""Recorded motion on the page."""

from collections import defaultdict

import numpy as np

from . import clips, perturb
from .baselines import LAG_S, SMOOTHING_S, SOLVERS
from .compared import ON_RECORDINGS, on_recordings
from .gather import Evidence
from .plots import Axis, Band, Series, axis, chart
from .tables import cell, table


def recorded(evidence: Evidence) -> str:
    """Return the section on recorded motion."""
    groups: dict[tuple[str, str], list[clips.Row]] = defaultdict(list)
    for row in evidence.rows:
        groups[row.rig, row.solver].append(row)
    means = [
        [
            f"{solver}",
            rig,
            _percent(rows, "in_frame"),
            sum(row.edge_approaches for row in rows),
            _mean(rows, "miss_rms"),
            _mean(rows, "lag_s") if rig == "sticks" else None,
            min(row.first_s for row in rows),
            _mean(rows, "visible_s"),
            _mean(rows, "corrections_per_s"),
            _mean(rows, "above_1_hz"),
            _percent(rows, "still_share"),
            max(row.over_limit for row in rows),
            max(row.dolly_over_limit for row in rows),
            _mean(rows, "moving_axes"),
        ]
        for (rig, solver), rows in groups.items()
    ]
    heads = [
        "solver", "rig", "in frame %", "edge approaches", "miss r.m.s. half frames",
        "lag s", "first answer s", "visible answer s", "corrections a second",
        "speed above 1 Hz deg/s", "at rest %", "peak turn accel. of limit",
        "peak dolly accel. of limit", "moving axes",
    ]  # fmt: skip
    digits = (0, 0, 1, 0, 2, 2, 2, 2, 1, 2, 0, 2, 1, 1)
    full = [
        [
            f"{row.clip}", row.rig, row.solver, 100 * row.in_frame, row.edge_approaches,
            row.miss_rms, row.lag_s, row.first_s, row.visible_s, row.corrections_per_s,
            row.decisions_per_s, row.above_1_hz, 100 * row.still_share, row.over_limit,
            row.dolly_over_limit, row.moving_axes,
        ]
        for row in evidence.rows
    ]  # fmt: skip
    detail_heads = ["clip", "rig", *[h for h in heads if h not in ("rig",)]]
    detail_heads.insert(10, "decisions a second")
    sources = sorted({clip.source for clip in evidence.clips})
    note = (
        ""
        if any(clip.name == "car" for clip in evidence.clips)
        else " The car's track was not there and is left out."
    )
    lags = {
        solver: _mean(groups["sticks", solver], "lag_s")
        for solver in ("crew", "delayed integrator", "low-pass lag")
    }
    detail = table(detail_heads, full, (0, 0, 0, 1, 0, 2, 2, 2, 2, 1, 1, 2, 0, 2, 1, 0))
    return f"""<h2>3. Recorded motion</h2>
<p>{len(evidence.clips)} clips ({"; ".join(sources)}), <i>brisk</i> as a job has it
by default, 50 mm, 24 frames a second, the camera on the side at the distance where the
figure is full when nearest (car and drone: a fifth of the frame height). <b>sticks</b>
stand still; the <b>track</b> runs along the clip. Beside the crew, on the same subject
and rig: <b>rigid aim</b> is exact in every frame; the <b>delayed integrator</b> follows
it as the crossover model does, with <i>brisk</i>'s own crossover and delay of section
1a; <b>low-pass lag</b> through a first-order lag of {LAG_S:g} s, with which its pan is
as late as the crew's; <b>whole-shot smoothing</b> through a Gaussian of
{SMOOTHING_S:g} s over past and future.{note}</p>
<p>The <b>first answer</b> is the perturbation test: after an instant, at
{len(perturb.INSTANTS)} places in the clip, the subject swerves at
{perturb.SWERVE_M_S:g} m/s; when does the camera first move otherwise than it would
have? Before zero it has read the future. The <b>visible answer</b> is when it
differs by a hundredth of the half frame (median). Derivatives are differences of
frames, for all alike; means over clips, and the most extreme first answer and
accelerations. From sticks the mean lag is {cell(lags["crew"])} s of the crew,
{cell(lags["delayed integrator"])} s of the integrator and
{cell(lags["low-pass lag"])} s of the low-pass.</p>
{table(heads, means, digits)}
<div class="row">{_answers(evidence)}{_restless(evidence)}</div>
{_held_out(evidence)}
{_wins(evidence)}
<details><summary>Every clip</summary>{detail}</details>"""


def _ratio(low: list[clips.Row], evidence: Evidence) -> float:
    """Return the mean miss of some rows over the crew's."""
    crew = [row for row in evidence.rows if row.solver == "crew"]
    return (_mean(low, "miss_rms") or 0.0) / (_mean(crew, "miss_rms") or np.nan)


def _mean(rows: list[clips.Row], name: str) -> float | None:
    values = [getattr(row, name) for row in rows if getattr(row, name) is not None]
    return float(np.mean(values)) if values else None


def _percent(rows: list[clips.Row], name: str) -> float:
    return 100 * (_mean(rows, name) or 0.0)


def _answers(evidence: Evidence) -> str:
    series = []
    for k, solver in enumerate(SOLVERS):
        rows = [r for r in evidence.rows if r.solver == solver and r.rig == "sticks"]
        series.append(
            Series(
                name=solver,
                x=np.arange(len(rows)) + 1,
                y=[row.first_s for row in rows],
                colour=k,
                style="dots",
            )
        )
    return chart(
        series,
        Axis(label="clip, sticks", low=0, high=len(evidence.clips) + 1),
        Axis(label="first answer, s", low=-2.7, high=1.0),
        bands=[Band(name="before it happened", y=(-2.7, 0.0))],
        title="When the camera first answers a change (rigid aim under the low-pass)",
    )


def _restless(evidence: Evidence) -> str:
    series = []
    for k, solver in enumerate(SOLVERS):
        rows = [r for r in evidence.rows if r.solver == solver and r.rig == "sticks"]
        series.append(
            Series(
                name=solver,
                x=[row.miss_rms for row in rows],
                y=[row.above_1_hz for row in rows],
                colour=k,
                style="dots",
            )
        )
    y = axis("speed above 1 Hz, deg/s", [one.y for one in series], zero=True)
    x = axis("miss r.m.s., half frames", [one.x for one in series], zero=True)
    return chart(series, x, y, title="Miss and restlessness on sticks")


def _held_out(evidence: Evidence) -> str:
    files = [
        [clip.name, clip.source, "held out" if clip.held_out else "set on"]
        for clip in evidence.clips
    ]
    return f"""<h3>Set on, and held out</h3>
<p>Presets of the crew were set on football, CMU motion and two clips of DeepMimic; the
weights of the choice of setups on those, on more clips of DeepMimic and on a football
minute that is not shown here. On the others nothing was set: three clips of DeepMimic
on the floor, a car and a drone. From sticks; in brackets the 95 % interval by bootstrap
over clips. A pan slower than {np.degrees(clips.LEAST_PAN_RAD_S):g} deg/s r.m.s. has no
lag and no share.</p>
{table(ON_RECORDINGS, on_recordings(evidence.rows, evidence.clips))}
<p><b>Reading it.</b> {_against(evidence, held_out=False)}
{_against(evidence, held_out=True)} The files held out are few.</p>
<details><summary>By
file</summary>{table(["clip", "file", "split"], files)}</details>"""


def _against(evidence: Evidence, *, held_out: bool) -> str:
    """Say how the crew and a delayed integrator miss, on a part of the files."""
    apart = {clip.name: clip.held_out for clip in evidence.clips}
    miss = {
        (row.clip, row.solver): row.miss_rms
        for row in evidence.rows
        if row.rig == "sticks" and apart[row.clip] is held_out
    }
    names = [name for name, solver in miss if solver == "crew"]
    wins = sum(miss[name, "crew"] < miss[name, "delayed integrator"] for name in names)
    mean = np.mean([miss[name, "crew"] for name in names])
    words = "On files held out" if held_out else "On files that it was set on"
    return (
        f"{words} the crew misses {mean:.2f} half frames, and less than the delayed "
        f"integrator on {wins} of {len(names)} clips."
    )


def _wins(evidence: Evidence) -> str:
    by_key = {(row.clip, row.rig, row.solver): row for row in evidence.rows}
    pairs = [(row.clip, row.rig) for row in evidence.rows if row.solver == "crew"]

    def count(solver: str, name: str) -> str:
        wins = sum(
            getattr(by_key[*pair, solver], name) < getattr(by_key[*pair, "crew"], name)
            for pair in pairs
        )
        return f"{wins} of {len(pairs)}"

    others = [solver for solver in SOLVERS if solver != "crew"]
    names = ("miss_rms", "above_1_hz", "corrections_per_s", "edge_approaches")
    rows = [[solver, *(count(solver, name) for name in names)] for solver in others]
    dolly = ", ".join(
        f"{max(row.dolly_over_limit for row in _of(evidence, name)):.1f} ({name})"
        for name in others
    )
    still = {name: _mean(_of(evidence, name), "still_share") or 0.0 for name in SOLVERS}
    longer = [name for name in others if still[name] > still["crew"]]
    heads = [
        "baseline", "smaller miss", "less speed above 1 Hz", "fewer corrections",
        "fewer edge approaches",
    ]  # fmt: skip
    return f"""<h3>Where a baseline wins</h3>
<p>Takes in which a baseline is better than the crew, both rigs:</p>{table(heads, rows)}
<p><b>Plainly:</b> in most takes these frame better than the crew:
{_mostly(evidence, "miss_rms")}; and these are calmer:
{_mostly(evidence, "above_1_hz")}. At the crew's own lag the low-pass misses
{_ratio(_of(evidence, "low-pass lag"), evidence):.1f} times as much as the crew, and the
delayed integrator {_ratio(_of(evidence, "delayed integrator"), evidence):.1f} times,
over all clips and both rigs. At rest for longer than the crew:
{", ".join(longer) or "none"}. With one subject in the open, if a camera may know the
future or need not look operated, use one of them. What they do not do: whole-shot
smoothing starts up to {-min(r.first_s for r in evidence.rows):.1f} s before the subject
does; rigid aim and the low-pass answer within the frame, which nobody does; and on a
track they ask of the dolly up to {dolly} times the grip's acceleration, while the crew
stays inside its limits by construction. The crew is also at its weakest where the body
hops: it sees each hop late, answers it, and so moves more than it should.</p>"""


def _of(evidence: Evidence, solver: str) -> list[clips.Row]:
    return [row for row in evidence.rows if row.solver == solver]


def _mostly(evidence: Evidence, name: str) -> str:
    """Name the baselines that are better than the crew in most takes."""
    crew = [getattr(row, name) for row in _of(evidence, "crew")]
    found = [
        solver
        for solver in SOLVERS
        if np.mean(
            [getattr(row, name) for row in _of(evidence, solver)] < np.array(crew)
        )
        > 0.5
    ]
    return ", ".join(found) or "none"
