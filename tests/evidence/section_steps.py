"""Double steps on the page."""

import numpy as np

from . import doublestep
from .gather import PRESET_ORDER, Evidence
from .plots import Axis, Series, chart
from .tables import table


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
        "second inside the rest: mean s", "longest s", "second 1 s later: s",
    ]  # fmt: skip
    plot = chart(
        series,
        Axis(label="gap between the steps, s", low=0, high=1.03),
        Axis(label="answer to the second step, s", low=0, high=0.65),
        title="Latency of the answer to a second step",
        width=640,
        height=280,
    )
    return f"""<h2>2. Double step</h2>
<p>Two equal steps of {np.degrees(doublestep.STEP_RAD):.1f} deg, the second after a
gap. The answer to the second begins where the pan parts from the same crew's pan
without it.</p><div class="one">{plot}</div>{table(heads, rows, (0, 3, 2, 3, 2, 2, 2))}
<p><b>Reading it.</b> While the answer to the first step is under way, the second
waits: latency falls along lines of slope &minus;1 as the gap grows, the sign of a
decision that cannot be brought forward, and returns to the plain reaction once the
first is settled (0.5 to 0.9 s; <i>steady</i> and <i>heavy_head</i> take longest).
A second step of people's that comes just before the answer to the first does not
change that answer (Becker &amp; J&uuml;rgens 1979, Vision Res 19:967-983). These are
steps in one direction; the refractory time of sustained control was found for reversals
only (van de Kamp, Gawthrop, Gollee &amp; Loram 2013, PLoS Comput Biol 9(1):e1002843),
so it is no evidence for what is shown here. The crew has the sawtooth, because it may
decide again and again while its belief settles; a
published average over people would smear it. Its first answer is as quick as simple
reactions (0.213 s in Woods et al. 2015, Front Hum Neurosci 9:131) for
<i>steady</i>, slower for <i>heavy_head</i>, and quicker for <i>sharp</i> and
<i>brisk</i>, who stand for someone who expects the move.</p>"""
