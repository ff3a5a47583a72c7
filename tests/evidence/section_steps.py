"""Double steps on the page."""

import numpy as np

from . import doublestep
from .gather import PRESET_ORDER, Evidence
from .plots import Axis, Series, chart
from .tables import table

SIMPLE_S = 0.213  # reaction to a light, hardware-corrected: Woods et al. 2015
SAME_S = 0.01  # what is called as quick as that


def double_steps(evidence: Evidence) -> str:
    """Return the section on double steps."""
    plots = [
        chart(
            [
                Series(
                    name=one.preset,
                    x=one.gap_s,
                    y=getattr(one, name),
                    colour=PRESET_ORDER.index(one.preset),
                )
                for one in evidence.steps
            ],
            Axis(label="gap between the steps, s", low=0, high=1.03),
            Axis(label="answer to the second step, s", low=0, high=1.0),
            title=title,
        )
        for name, title in (
            ("back_s", "Latency of the answer to a step back"),
            ("on_s", "Latency of the answer to a step on"),
        )
    ]
    rows = [
        [
            one.preset,
            one.reaction_s,
            one.first_s,
            float(np.nanmax(one.back_s)),
            one.waits_to_s(one.back_s),
            float(np.nanmax(one.on_s)),
            one.waits_to_s(one.on_s),
        ]
        for one in evidence.steps
    ]
    heads = [
        "preset", "reaction s", "first step answered after s",
        "step back: longest answer s", "waits up to a gap of s",
        "step on: longest answer s", "waits up to a gap of s",
    ]  # fmt: skip
    low, high = doublestep.REFRACTORY_S
    return f"""<h2>2. Double step</h2>
<p>Two steps of {np.degrees(doublestep.STEP_RAD):.1f} deg, the second after a gap: back
to where the first came from, or on in its direction. The answer to the second begins
where the pan parts from the same crew's pan without it; it waits where it comes more
than {doublestep.LATE_S:g} s later than the answer to a single step. The crew is without
variability.</p>
<div class="row">{"".join(plots)}</div>{table(heads, rows, (0, 3, 3, 2, 2, 2, 2))}
<p><b>Reading it.</b> While the answer to the first step is under way, the second waits:
latency falls along lines of slope &minus;1 as the gap grows, the sign of a decision
that cannot be brought forward, and returns to the plain reaction afterwards. People in
sustained control wait where the target reverses, for {low:g} to {high:g} s by the order
of what they control (van de Kamp, Gawthrop, Gollee &amp; Loram 2013, PLoS Comput Biol
9(1):e1002843). At steps back the crew waits in that range: {_in(evidence, True)};
outside of it: {_in(evidence, False)}. The crew waits at steps on as well, where that
paper found no refractoriness: in this it is unlike people. A second step of people's
that comes just before the answer to the first does not change that answer (Becker &amp;
J&uuml;rgens 1979, Vision Res 19:967-983). The crew has the sawtooth, because it may
decide again and again while its belief settles; a published average over people would
smear it.</p>
<p>Against simple reactions to a light ({SIMPLE_S:g} s in Woods et al. 2015, Front Hum
Neurosci 9:131) its first answer is as quick: {_first(evidence, 0)}; quicker:
{_first(evidence, -1)}; slower: {_first(evidence, 1)}. The quicker stand for someone who
expects the move.</p>"""


def _in(evidence: Evidence, inside: bool) -> str:
    """Name the presets that wait at steps back as long as people, or not."""
    low, high = doublestep.REFRACTORY_S
    found = []
    for one in evidence.steps:
        waits = one.waits_to_s(one.back_s)
        if (low <= waits <= high) is inside:
            found.append(f"<i>{one.preset}</i> ({waits:.2f} s)")
    return ", ".join(found) or "none"


def _first(evidence: Evidence, side: int) -> str:
    """Name the presets whose first answer is quicker (-1), as quick (0) or slower."""
    found = [
        f"<i>{one.preset}</i> ({one.first_s:.2f} s)"
        for one in evidence.steps
        if _side(one.first_s - SIMPLE_S) == side
    ]
    return ", ".join(found) or "none"


def _side(off_s: float) -> int:
    return 0 if abs(off_s) <= SAME_S else int(np.sign(off_s))
