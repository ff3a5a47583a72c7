"""The sections of the page: each states its method, its figures and what they say."""

from collections import defaultdict

import numpy as np

from . import clips, doublestep, perturb, tracking
from .gather import CROSSOVER_BAND, DELAY_BAND, MARGIN_BAND_DEG, Evidence, Record
from .identify import crossover_model
from .plots import Axis, Band, Series, axis, chart
from .tables import cell, judged, table
from .targets import SET_A, TARGETS

PRESET_ORDER = ("steady", "brisk", "sharp", "heavy_head")
BRISK = 1  # its place in the order above


def opening(evidence: Evidence) -> str:
    """Return the title and what was found, in short."""
    sharp = next(
        one.found
        for one in evidence.tracking
        if one.preset == "sharp" and one.target.name == SET_A.name
    )
    crew = [row for row in evidence.rows if row.solver == "crew"]
    smooth = [row for row in evidence.rows if row.solver == "whole-shot smoothing"]
    worst = min(crew, key=lambda row: row.in_frame)
    return f"""<h1>The crew, measured</h1>
<p>Does the solved camera move as a person moves it? Every number on this page was
computed by <code>sh deploy/evidence</code>, with fixed seeds; the same numbers stand in
<code>evidence.json</code> and <code>evidence.csv</code> beside it.</p>
<ul>
<li>As a manual tracker, <b>sharp</b> crosses over at {sharp.crossover:.2f} rad/s with an
effective delay of {sharp.delay_s:.2f} s on a published target (bands for people, from
memory: {CROSSOVER_BAND[0]:g} to {CROSSOVER_BAND[1]:g} rad/s, {DELAY_BAND[0]:.2f} to
{DELAY_BAND[1]:.2f} s).</li>
<li>A second step soon after a first is answered late, as people answer it.</li>
<li>On {len(evidence.clips)} recorded clips the crew never moved before the subject did:
its earliest answer came {min(row.first_s for row in crew):.2f} s after the change.
Whole-shot smoothing moved {-min(row.first_s for row in smooth):.1f} s before it.</li>
<li>The plain baselines frame <em>better</em> and move <em>less nervously</em> than the
crew; a follow camera that may be early is easy. The table says where.</li>
<li>The crew's worst clip is {worst.clip} on {worst.rig}: {100 * worst.in_frame:.1f} %
of frames hold the subject.</li>
</ul>"""


def manual_control(evidence: Evidence, tables: dict[str, list[Record]]) -> str:
    """Return the section on manual tracking."""
    rows = [
        [
            str(row["preset"]),
            str(row["target"]),
            row["amplitude_tolerances"],
            judged(float(row["crossover_rad_s"] or 0), CROSSOVER_BAND),
            judged(float(row["delay_s"] or 0), DELAY_BAND),
            judged(float(row["margin_deg"] or 0), MARGIN_BAND_DEG, 0),
            100 * float(row["remnant_share"] or 0),
            row["least_coherence_to_crossover"],
            row["decisions_per_s"],
        ]
        for row in tables["tracking"]
    ]
    heads = [
        "preset", "target", "r.m.s. in tolerances", "crossover rad/s",
        "effective delay s", "phase margin deg", "remnant % of power",
        "least coherence up to crossover", "decisions a second",
    ]  # fmt: skip
    main = table(heads, rows, (0, 0, 1, 2, 2, 0, 1, 2, 1))
    thirds = table(
        ["preset", "bandwidth rad/s", "measured", "one-third law"],
        [
            [str(r["preset"]), r["band_rad_s"], r["measured"], r["law"]]
            for r in tables["one_third_law"]
        ],
        (0, 1, 3, 3),
    )
    sources = "; ".join(f"{one.name}: {one.source}" for one in TARGETS)
    return f"""<h2>1. Manual control</h2>
<p>Sticks, a 50 mm lens, the whole figure in frame. The subject runs on a circle around
the lens, so that its bearing follows the target exactly; {tracking.RATE} frames a second,
{tracking.RUNS} runs a target with phases drawn anew, one whole period each after
{tracking.LEAD_S:g} s that are not judged. The response at each input frequency is read
from the Fourier transform and divided by the error's, both correlated with the target.
The crossover is where that ratio passes through one; delay is the slope of phase of
the crossover model, <i>w<sub>c</sub></i> e<sup>-jwt</sup>/jw, fitted within an octave
of it. The method itself is tested on a simulated delayed integrator, whose crossover
and delay it returns to one part in a thousand.</p>
<div class="row">{_gain(evidence)}{_phase(evidence)}</div>
<div class="row">{_plane(evidence)}{_coherence(evidence)}</div>
{main}
<p><small>An asterisk and the second colour mark what lies outside a band. Bands are from
memory of McRuer &amp; Jex 1967 (IEEE Trans. Human Factors in Electronics HFE-8(3):231-249)
and AFFDL-TR-65-15: shown, not proved. Targets: {sources}. Lines of A, B and C as
transcribed in an open model library. A has its published size, {np.degrees(SET_A.rms):.1f}
deg r.m.s.; B and C are scaled to it, C without its line at 0.031 rad/s. The random target
has equal lines to 2.5 rad/s and a shelf 20 dB lower to 14 rad/s.</small></p>
<p><b>Reading it.</b> <i>sharp</i> and <i>brisk</i> lie inside the bands for a quick
display and a light control. <i>steady</i> and <i>heavy_head</i> are meant to lie outside:
a head with inertia is nearer to an acceleration than to a rate control, for which people
too show a lower crossover and a longer delay (0.25 to 0.30 s at 2.5 rad/s, base crossover
near 3.2 rad/s, from memory). The crew decides now and then and lets small misses be;
its response is not one linear law. What a linear law does not explain is the remnant,
which grows as the input shrinks towards the tolerance.</p>
<div class="row">{_size(evidence)}<div style="flex:1 1 300px"><h3>One-third law</h3>
<p>Mean square error over that of the target, rectangular spectra without a shelf, against
(band / crossover)<sup>2</sup>/3 (McRuer &amp; Jex 1967, from memory). It holds for bands
well under the crossover and for a tracker without dead band: the crew's error exceeds it
throughout, the more so near the crossover, where a delayed loop amplifies error and
people lower their gain. The crew does not.</p>{thirds}</div></div>"""


def _on_set_a(evidence: Evidence) -> list[tracking.Tracking]:
    return [one for one in evidence.tracking if one.target.name == SET_A.name]


def _gain(evidence: Evidence) -> str:
    found = _on_set_a(evidence)
    series = [
        Series(
            name=one.preset,
            x=one.found.omega,
            y=np.abs(one.found.open_loop),
            colour=PRESET_ORDER.index(one.preset),
        )
        for one in found
    ]
    sharp = next(one.found for one in found if one.preset == "sharp")
    series.append(
        Series(
            name="crossover model of sharp",
            x=sharp.omega,
            y=sharp.fitted_crossover / sharp.omega,
            colour=4,
            style="line",
            dashed=True,
        )
    )
    return chart(
        series,
        Axis(label="rad/s", low=0.4, high=18, log=True),
        Axis(label="gain", low=0.1, high=20, log=True),
        bands=[Band(name="published crossover", x=CROSSOVER_BAND)],
        title="Open-loop gain on set A",
    )


def _phase(evidence: Evidence) -> str:
    found = _on_set_a(evidence)

    def phase(omega: np.ndarray, loop: np.ndarray) -> np.ndarray:
        return np.degrees(np.unwrap(np.angle(loop * 1j * omega))) - 90

    series = [
        Series(
            name=one.preset,
            x=one.found.omega[one.found.omega < 12],
            y=phase(one.found.omega, one.found.open_loop)[one.found.omega < 12],
            colour=PRESET_ORDER.index(one.preset),
        )
        for one in found
    ]
    sharp = next(one.found for one in found if one.preset == "sharp")
    omega = np.geomspace(0.46, 12, 60)
    model = crossover_model(omega, sharp.fitted_crossover, sharp.delay_s)
    series.append(
        Series(
            name="crossover model of sharp",
            x=omega,
            y=phase(omega, model),
            colour=4,
            style="line",
            dashed=True,
        )
    )
    return chart(
        series,
        Axis(label="rad/s", low=0.4, high=18, log=True),
        Axis(label="phase, deg", low=-360, high=0),
        title="Open-loop phase on set A",
    )


def _plane(evidence: Evidence) -> str:
    series = [
        Series(
            name=preset,
            x=[o.found.crossover for o in evidence.tracking if o.preset == preset],
            y=[o.found.delay_s for o in evidence.tracking if o.preset == preset],
            colour=k,
            style="dots",
        )
        for k, preset in enumerate(PRESET_ORDER)
    ]
    return chart(
        series,
        Axis(label="crossover, rad/s", low=1.5, high=5.5),
        Axis(label="effective delay, s", low=0.1, high=0.5),
        bands=[Band(name="people, from memory", x=CROSSOVER_BAND, y=DELAY_BAND)],
        title="Crossover and delay, all targets",
    )


def _coherence(evidence: Evidence) -> str:
    series = [
        Series(
            name=one.preset,
            x=one.found.omega,
            y=one.found.coherence,
            colour=PRESET_ORDER.index(one.preset),
        )
        for one in _on_set_a(evidence)
    ]
    return chart(
        series,
        Axis(label="rad/s", low=0.4, high=18, log=True),
        Axis(label="coherence", low=0, high=1.02),
        title="Coherence over runs on set A",
    )


def _size(evidence: Evidence) -> str:
    series = [
        Series(
            name=name,
            x=[row["tolerances"] for row in rows],
            y=[row["crossover_rad_s"] for row in rows],
            colour=PRESET_ORDER.index(name),
        )
        for name, rows in evidence.size.items()
    ]
    x = axis("target r.m.s., in tolerances", [one.x for one in series], log=True)
    return chart(
        series,
        x,
        Axis(label="crossover, rad/s", low=1, high=5.5),
        bands=[Band(name="published", y=CROSSOVER_BAND)],
        title="The dead band: crossover by size of the target (set A, scaled)",
    )


def double_steps(evidence: Evidence) -> str:
    """Return the section on double steps."""
    series = [
        Series(
            name=one.preset,
            x=one.gap_s,
            y=one.second_s,
            colour=PRESET_ORDER.index(one.preset),
        )
        for one in evidence.steps
    ]
    rows = [
        [
            one.preset,
            one.reaction_s,
            one.rest_s,
            one.first_s,
            float(one.second_s[one.gap_s < one.rest_s].mean()),
            float(one.second_s[one.gap_s < one.rest_s].max()),
            float(one.second_s[-3:].mean()),
        ]
        for one in evidence.steps
    ]
    heads = [
        "preset", "reaction s", "rest s", "first step answered after s",
        "second inside the rest: mean s", "longest s", "second 0.7 s later: s",
    ]  # fmt: skip
    plot = chart(
        series,
        Axis(label="gap between the steps, s", low=0, high=0.78),
        Axis(label="answer to the second step, s", low=0, high=0.65),
        title="Latency of the answer to a second step",
        width=640,
        height=280,
    )
    return f"""<h2>2. Double step</h2>
<p>Two equal steps of {np.degrees(doublestep.STEP_RAD):.1f} deg, the second after a gap.
The answer to the second begins where the pan parts from the same crew's pan without
it.</p>{plot}{table(heads, rows)}
<p><b>Reading it.</b> While the answer to the first step is under way, the second waits:
latency falls along lines of slope &minus;1 as the gap grows, the sign of a decision that
cannot be brought forward, and returns to the plain reaction once the first is settled.
People do the same: their refractory time is about 0.25, 0.35 and 0.55 s for controls of
order 0, 1 and 2 (van de Kamp, Gawthrop, Gollee &amp; Loram 2013, PLoS Comput Biol
9(1):e1002843), and a second step that comes just before the answer to the first does not
change that answer (Becker &amp; J&uuml;rgens 1979, Vision Res 19:967-983). The crew
has the sawtooth, because it may decide again and again while its belief settles; a
published average over people would smear it. Its first answer is as quick as simple
reactions (0.213 s in Woods et al. 2015, Front Hum Neurosci 9:131) or quicker:
<i>sharp</i> and <i>brisk</i> stand for someone who expects the move.</p>"""


def recorded(evidence: Evidence) -> str:
    """Return the section on recorded motion."""
    groups: dict[tuple[str, str], list[clips.Row]] = defaultdict(list)
    for row in evidence.rows:
        groups[row.rig, row.solver].append(row)
    means = [
        [
            f"{solver}",
            rig,
            100 * _mean(rows, "in_frame"),
            sum(row.edge_approaches for row in rows),
            _mean(rows, "miss_rms"),
            _mean(rows, "lag_s"),
            min(row.first_s for row in rows),
            _mean(rows, "visible_s"),
            _mean(rows, "corrections_per_s"),
            _mean(rows, "above_1_hz"),
            100 * _mean(rows, "still_share"),
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
    detail = table(detail_heads, full, (0, 0, 0, 1, 0, 2, 2, 2, 2, 1, 1, 2, 0, 2, 1, 0))
    return f"""<h2>3. Recorded motion</h2>
<p>{len(evidence.clips)} clips ({"; ".join(sources)}), <i>brisk</i>, 50 mm, 24 frames a
second, the camera on the side at the distance where the figure is full when nearest (the
car: a fifth of the frame height). <b>sticks</b> stand still; the <b>track</b> runs along
the clip. Beside the crew, on the same subject and rig: <b>rigid aim</b> is exact in every
frame; <b>low-pass lag</b> follows it through a first-order lag of 0.25 s; <b>whole-shot
smoothing</b> through a Gaussian of 0.5 s over past and future.{note}</p>
<p>The <b>first answer</b> is the perturbation test: after an instant, at
{len(perturb.INSTANTS)} places in the clip, the subject swerves at
{perturb.SWERVE_M_S:g} m/s; when does the camera first move otherwise than it would have?
Before zero it has read the future. The <b>visible answer</b> is when it differs by a
hundredth of the half frame (median). Derivatives are differences of frames, for all
alike; means over clips, and the most extreme first answer and accelerations.</p>
{table(heads, means, digits)}
<div class="row">{_answers(evidence)}{_restless(evidence)}</div>
{_wins(evidence)}
<details><summary>Every clip</summary>{detail}</details>"""


def _mean(rows: list[clips.Row], name: str) -> float:
    values = [getattr(row, name) for row in rows if getattr(row, name) is not None]
    return float(np.mean(values)) if values else float("nan")


def _answers(evidence: Evidence) -> str:
    series = []
    for k, solver in enumerate(
        ("crew", "rigid aim", "low-pass lag", "whole-shot smoothing")
    ):
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
        Axis(label="first answer, s", low=-2.2, high=1.0),
        bands=[Band(name="before it happened", y=(-2.2, 0.0))],
        title="When the camera first answers a change of plan",
    )


def _restless(evidence: Evidence) -> str:
    series = []
    for k, solver in enumerate(
        ("crew", "rigid aim", "low-pass lag", "whole-shot smoothing")
    ):
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


def _wins(evidence: Evidence) -> str:
    by_key = {(row.clip, row.rig, row.solver): row for row in evidence.rows}
    pairs = [(row.clip, row.rig) for row in evidence.rows if row.solver == "crew"]

    def count(solver: str, name: str) -> str:
        wins = sum(
            getattr(by_key[*pair, solver], name) < getattr(by_key[*pair, "crew"], name)
            for pair in pairs
        )
        return f"{wins} of {len(pairs)}"

    rows = [
        [
            solver,
            count(solver, "miss_rms"),
            count(solver, "above_1_hz"),
            count(solver, "corrections_per_s"),
            count(solver, "edge_approaches"),
        ]
        for solver in ("rigid aim", "low-pass lag", "whole-shot smoothing")
    ]
    low = [row for row in evidence.rows if row.solver == "low-pass lag"]
    dolly = max(row.dolly_over_limit for row in low)
    heads = [
        "baseline", "smaller miss", "less speed above 1 Hz", "fewer corrections",
        "fewer edge approaches",
    ]  # fmt: skip
    return f"""<h3>Where a baseline wins</h3>
<p>Takes in which a baseline is better than the crew, both rigs:</p>{table(heads, rows)}
<p><b>Plainly:</b> by framing and by calm alone, whole-shot smoothing is the best camera
here and the low-pass lag is second. On sticks, with one subject in the open, either keeps
everyone in frame. If a camera may know the future, or need not look operated, use one.
What they do not do: whole-shot smoothing starts up to
{-min(r.first_s for r in evidence.rows):.1f} s before the subject does; rigid aim and the
lag answer within the frame, which nobody does; and on a track all three ask of the dolly
what no grip gives (the lag up to {dolly:.0f} times the limit), while the crew stays inside
its limits by construction. The crew is also at its weakest where the body hops: it sees
each hop late, answers it, and so moves more than it should.</p>"""


def dials(evidence: Evidence) -> str:
    """Return the section on sensitivity."""
    figures = []
    names = {
        "in_frame": ("in frame", Axis(label="share", low=0.85, high=1.005)),
        "miss_rms": ("miss", Axis(label="half frames", low=0, high=0.4)),
        "lag_s": ("lag", Axis(label="s", low=0.2, high=0.8)),
        "corrections_per_s": ("decisions", Axis(label="a second", low=0, high=5)),
        "crossover_rad_s": ("crossover", Axis(label="rad/s", low=1.5, high=5)),
        "delay_s": ("effective delay", Axis(label="s", low=0.15, high=0.5)),
    }
    labels = {
        "reaction_s": "reaction, s",
        "tolerance": "tolerance, half frames",
        "rest_s": "rest, s",
        "limits": "limits, times brisk's",
    }
    for name, (title, y) in names.items():
        for dial, label in labels.items():
            rows = [one for one in evidence.settings if one.dial == dial]
            x = axis(label, [[one.value for one in rows]], log=dial == "limits")
            figures.append(
                chart(
                    [
                        Series(
                            name="",
                            x=[one.value for one in rows],
                            y=[getattr(one, name) for one in rows],
                            colour=0,
                        )
                    ],
                    x,
                    y,
                    title=title,
                    width=250,
                    height=170,
                    legend=False,
                )
            )
    rows = [
        [
            one.dial,
            100 * one.in_frame,
            one.miss_rms,
            one.lag_s,
            one.corrections_per_s,
            one.crossover_rad_s,
            one.delay_s,
        ]
        for one in evidence.presets
    ]
    heads = [
        "preset", "in frame %", "miss r.m.s. half frames", "lag s", "decisions a second",
        "crossover rad/s", "effective delay s",
    ]  # fmt: skip
    return f"""<h2>4. Dials</h2>
<p>One number of <i>brisk</i>'s operator at a time; means over the football clips on sticks,
crossover and delay on set A.</p>
<div class="row small">{"".join(figures)}</div>
{table(heads, rows, (0, 1, 2, 2, 1, 2, 2))}
<p><b>Reading it.</b> <i>Tolerance</i> is the dial for how busy the camera is: decisions
fall ninefold from 0.01 to 0.3 while lag hardly moves. <i>Reaction</i> is the dial for how
late it is. <i>Rest</i> does little under 0.25 s and coarsens the moves above.
<i>Limits</i> can be cut to a third before football leaves the frame; below that the
head is too heavy for the game. The presets lie along these: <i>sharp</i> is little
tolerance and reaction, <i>steady</i> more of both, <i>heavy_head</i> long reaction with
limits near 0.4 of <i>brisk</i>'s acceleration.</p>"""


def shake(evidence: Evidence) -> str:
    """Return the section on shake."""
    rows = [
        [
            one.level, one.lens_mm, one.pan_deg, one.turn_px, one.frame_px, one.roll_px,
            one.slide_px,
        ]
        for one in evidence.shake
        if one.level != "locked"
    ]  # fmt: skip
    heads = [
        "level", "lens mm", "pan r.m.s. deg", "picture r.m.s. px", "frame to frame px",
        "side edge by roll px", "figure by shift px",
    ]  # fmt: skip
    series = [
        Series(name=level, x=f, y=np.maximum(a, 1e-4), colour=k, style="line")
        for k, (level, (f, a)) in enumerate(
            (n, s) for n, s in evidence.spectra.items() if n != "locked"
        )
    ]
    plot = chart(
        series,
        Axis(label="Hz", low=0.1, high=12, log=True),
        Axis(label="px per root Hz", low=0.01, high=50, log=True),
        bands=[
            Band(name="hand tremor", x=(6, 12)),
            Band(name="steps", x=(1.6, 2.3)),
            Band(name="sway", x=(0.2, 0.5)),
        ],
        title="Pan shake on a 50 mm lens, 2048 pixels wide",
        width=640,
        height=300,
    )
    settled = next(one for one in evidence.shake if one.level == "settled")
    return f"""<h2>5. Shake</h2>
<p>Eight seeds of two minutes, 24 frames a second, a picture 2048 pixels wide. Levels are
shares of the frame width, so a lens changes the angle and not the picture.</p>
{plot}{table(heads, rows, (0, 0, 4, 2, 2, 2, 2))}
<p><b>Reading it.</b> <i>locked</i> moves nothing. <i>settled</i> moves the picture by
{cell(settled.turn_px, 1)} px and by {cell(settled.frame_px, 1)} px from frame to frame:
seen on a large screen, not in a cutting room. All lie under the 6 to 12 Hz of bare-hand
tremor (Lakie et al. 2015, J Physiol 593:4411), which a camera's mass lowers; <i>shoulder</i>
and <i>rough</i> span the step rate of walking (near 2 Hz, Pachi &amp; Ji 2005, The
Structural Engineer 83(3)). Standing sway is mostly under 1 Hz (median 0.2 to 0.5 Hz,
from memory). No measured amplitudes of cine cameras were found: the amplitudes are our
choice.</p>"""


def limits_of_evidence() -> str:
    """Return what the page does not show."""
    return f"""<h2>Limits of this evidence</h2>
<ul>
<li>No published measurement of a camera operator's reaction, gain or acceleration was
found. The comparison is with people at displays and sticks, and its bands are from
memory.</li>
<li>A crossover and a delay inside a band do not make a camera human. The band would not
notice a crew without any reaction time: filter, rest and tolerance alone give an
effective delay inside it. The perturbation test and the first step notice.</li>
<li>People change their gain with the target and learn a repeated one. The crew does
neither.</li>
<li>Only sums of sines, steps and {"people, and one car,"} in the open: nobody hides, the
lens is 50 mm, one person is framed, and no director has said anything.</li>
<li>Football positions are at 10 Hz from broadcast pictures and lack real bounce; mocap
clips are short and some are repeated.</li>
<li>Nobody has been asked whether they can tell. That test is still to be done.</li>
<li>One data set used in tests, whose owner is not stated, is left out here.</li>
</ul>"""
