"""Manual control on the page."""

import numpy as np

from . import tracking
from .bands import CROSSOVER_BAND, DELAY_BAND
from .gather import PRESET_ORDER, Evidence, Record
from .identify import crossover_model
from .plots import Axis, Band, Series, axis, chart
from .tables import judged, table
from .targets import SET_A, TARGETS

PHASE_TO_RAD_S = 9.0  # above, coherence is too low for a phase


def manual_control(evidence: Evidence, tables: dict[str, list[Record]]) -> str:
    """Return the section on manual tracking."""
    rows = [
        [
            str(row["preset"]),
            str(row["target"]),
            row["amplitude_tolerances"],
            judged(float(row["crossover_rad_s"] or 0), CROSSOVER_BAND),
            judged(float(row["delay_s"] or 0), DELAY_BAND),
            row["margin_deg"],
            100 * float(row["remnant_share"] or 0),
            row["least_coherence_to_crossover"],
            row["error_share"],
            row["decisions_per_s"],
        ]
        for row in tables["tracking"]
    ]
    heads = [
        "preset", "target", "r.m.s. in tolerances", "crossover rad/s",
        "effective delay s", "phase margin deg", "remnant % of power",
        "least coherence up to crossover", "error over target power",
        "decisions a second",
    ]  # fmt: skip
    slopes, phases = _below(evidence)
    main = table(heads, rows, (0, 0, 1, 2, 2, 0, 1, 2, 2, 1))
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
<p>Sticks, a 50 mm lens, the whole figure in frame. The subject runs on a circle
around the lens, so that its bearing follows the target exactly; {tracking.RATE}
frames a second, {tracking.RUNS} runs a target with phases drawn anew, one whole
period each after {tracking.LEAD_S:g} s that are not judged. The response at each
input frequency is read from the Fourier transform and divided by the error's, both
correlated with the target. The crossover is where that ratio passes through one;
delay is the slope of phase of the crossover model, <i>w<sub>c</sub></i>
e<sup>-jwt</sup>/jw, fitted within an octave of it. The method itself is tested on a
simulated delayed integrator, whose crossover and delay it returns to two parts in a
thousand.</p>
<div class="row">{_gain(evidence)}{_phase(evidence)}</div>
<div class="row">{_plane(evidence)}{_coherence(evidence)}</div>
<div class="one">{_residual(evidence)}</div>
{main}
<p><small>An asterisk and the second colour mark what lies outside a band. Bands are
from memory of McRuer &amp; Jex 1967 (IEEE Trans. Human Factors in Electronics
HFE-8(3):231-249) and AFFDL-TR-65-15: shown, not proved. Targets: {sources}. Lines
of A, B and C as transcribed in an open model library. A has its published size,
{np.degrees(SET_A.rms):.1f} deg r.m.s.; B and C are scaled to it, C without its line
at 0.031 rad/s. The random target has equal lines to 2.5 rad/s and a shelf 20 dB
lower to 14 rad/s.</small></p>
<p><b>Reading it.</b> <i>sharp</i> is meant to lie inside the bands for a quick
display and a light control, <i>brisk</i> at their slow edge. <i>steady</i> and
<i>heavy_head</i> are meant to lie outside: a head with inertia is nearer to an
acceleration than to a rate control,
for which people too show a lower crossover and a longer delay (0.25 to 0.30 s at
2.5 rad/s, base crossover near 3.2 rad/s, from memory). The crew decides now and
then and lets small misses be; its response is not one linear law. What a linear law
does not explain is the remnant, which grows as the input shrinks towards the
tolerance.</p>
<p><b>Against the model and against people.</b> Up to the crossover, on set A, its gain
falls with slopes of {slopes[0]:.2f} to {slopes[1]:.2f} (an integrator's: -1) and its
phase is {phases[0]:.0f} to {phases[1]:.0f} deg on average: it follows a believed speed.
The residual, the distance of the open loop from the model that was fitted round the
crossover as a share of it, is shown above. The eight people of section 1a do the same:
gain slopes of -1.05 to -1.50 and phases of -122 to -160 deg there, measured by us. So
it is good at what goes on as it was and overshoots at what does not. On the random
target a camera that stood still would have missed less than {_missed(tables)}. People
lower their gain on such targets (regression, from memory of McRuer &amp; Jex 1967); the
crew has one gain whatever the target. Above {PHASE_TO_RAD_S:g} rad/s the lines are far
below the tolerance,
and gain and phase are to be read with
the coherence. Event-driven decisions with a rest are the model of intermittent
control (Gawthrop, Loram, Lakie &amp; Gollee 2011, Biol Cybern 104:31-51):
near the crossover it cannot be told from a continuous tracker,
and it differs by its remnant and its rests.</p>
<div class="row">{_size(evidence)}<div style="flex:1 1 300px"><h3>One-third law</h3>
<p>Mean square error over that of the target, rectangular spectra without a shelf,
against (band / crossover)<sup>2</sup>/3 (McRuer &amp; Jex 1967, from memory). It
holds for bands well under the crossover and for a tracker with neither dead band nor
lead. The crew has both: at {tracking.ONE_THIRD_BANDS[0]:g} rad/s its share is
{_thirds(tables)} times the law's, and more above; it is not said to follow it.</p>
{thirds}</div></div>"""


def _below(evidence: Evidence) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return least and most slope and mean phase [deg] up to the crossover, set A."""
    slopes, phases = [], []
    for one in _on_set_a(evidence):
        w = one.found.omega[one.found.omega <= one.found.crossover]
        loop = one.found.open_loop[: len(w)]
        slopes.append(float(np.polyfit(np.log(w), np.log(np.abs(loop)), 1)[0]))
        turned = np.unwrap(np.angle(loop * 1j * w))
        phases.append(float(np.degrees(turned).mean()) - 90)
    return (max(slopes), min(slopes)), (max(phases), min(phases))


def _residual(evidence: Evidence) -> str:
    series = []
    for one in _on_set_a(evidence):
        w = one.found.omega[one.found.omega < PHASE_TO_RAD_S]
        model = crossover_model(w, one.found.fitted_crossover, one.found.delay_s)
        series.append(
            Series(
                name=one.preset,
                x=w,
                y=np.abs(one.found.open_loop[: len(w)] / model - 1),
                colour=PRESET_ORDER.index(one.preset),
            )
        )
    return chart(
        series,
        Axis(label="rad/s", low=0.4, high=18, log=True),
        axis("share of the model", [one.y for one in series], zero=True),
        title="Residual: distance of the open loop from the fitted model, set A",
        width=640,
        height=240,
    )


def _missed(tables: dict[str, list[Record]]) -> str:
    """Return the presets whose error on the random target is above the target's."""
    found = [
        f"<i>{row['preset']}</i>"
        for row in tables["tracking"]
        if str(row["target"]).startswith("random")
        and float(row["error_share"] or 0) > 1.0
    ]
    return ", ".join(found) or "no preset"


def _thirds(tables: dict[str, list[Record]]) -> str:
    """Return measured error shares over the one-third law's at the lowest band."""
    rows = tables["one_third_law"]
    least = min(float(row["band_rad_s"] or 0) for row in rows)
    return " and ".join(
        f"{float(row['measured'] or 0) / float(row['law'] or 1):.1f} ({row['preset']})"
        for row in rows
        if row["band_rad_s"] == least
    )


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
            x=one.found.omega[one.found.omega < PHASE_TO_RAD_S],
            y=phase(one.found.omega, one.found.open_loop)[
                one.found.omega < PHASE_TO_RAD_S
            ],
            colour=PRESET_ORDER.index(one.preset),
        )
        for one in found
    ]
    sharp = next(one.found for one in found if one.preset == "sharp")
    omega = np.geomspace(0.46, PHASE_TO_RAD_S, 60)
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
        Axis(label="phase, deg", low=-300, high=-60),
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
