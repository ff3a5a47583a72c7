"""The dials of the operator on the page."""

from carrellata.solver.presets import PRESETS

from .gather import Evidence
from .plots import Axis, Series, axis, chart
from .tables import table


def dials(evidence: Evidence) -> str:
    """Return the section on sensitivity."""
    figures = []
    names = {
        "in_frame": ("in frame", Axis(label="share", low=0.85, high=1.005)),
        "miss_rms": ("miss", Axis(label="half frames", low=0, high=0.7)),
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
        "preset", "in frame %", "miss r.m.s. half frames", "lag s",
        "decisions a second", "crossover rad/s", "effective delay s",
    ]  # fmt: skip
    heavy, brisk = PRESETS["heavy_head"].operator, PRESETS["brisk"].operator
    lags = [o.lag_s for o in evidence.settings if o.dial == "tolerance"]
    rest = [o.corrections_per_s for o in evidence.settings if o.dial == "rest_s"]
    rested = [o.miss_rms for o in evidence.settings if o.dial == "rest_s"]
    busy = [o.corrections_per_s for o in evidence.settings if o.dial == "tolerance"]
    least = min(
        o.value for o in evidence.settings if o.dial == "limits" and o.in_frame == 1.0
    )
    return f"""<h2>4. Dials</h2>
<p>One number of <i>brisk</i>'s operator at a time; means over the football clips on
sticks, crossover and delay on set A.</p>
<div class="row small">{"".join(figures)}</div>
{table(heads, rows, (0, 1, 2, 2, 1, 2, 2))}
<p><b>Reading it.</b> <i>Tolerance</i> is the dial for how busy the camera is:
decisions fall {busy[0] / busy[-1]:.0f} times from 0.01 to 0.3, while lag goes from
{lags[0]:.2f} to {lags[-1]:.2f} s. <i>Reaction</i> is the dial for how late it is.
<i>Rest</i> goes with fewer decisions ({rest[0]:.1f} to {rest[-1]:.1f} a second) and
larger misses ({rested[0]:.2f} to {rested[-1]:.2f} half frames). <i>Limits</i> can
be cut to {100 * least:.0f} % before football leaves the frame; below that the head
is too heavy for the game. The presets lie along these: <i>sharp</i> is
little tolerance and reaction, <i>steady</i> more of both,
<i>heavy_head</i> long reaction and lower limits:
{heavy.max_speed / brisk.max_speed:.2f} of <i>brisk</i>'s speed,
{heavy.max_accel / brisk.max_accel:.2f} of the acceleration,
{heavy.max_jerk / brisk.max_jerk:.2f} of the jerk.</p>"""
