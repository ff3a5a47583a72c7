"""What was found, in short, and what was not shown."""

import numpy as np

from .bands import CROSSOVER_BAND, DELAY_BAND
from .doublestep import REFRACTORY_S
from .gather import Evidence
from .people import PEOPLE
from .targets import SET_A


def opening(evidence: Evidence) -> str:
    """Return the title and what was found, in short."""
    sharp = next(
        one.found
        for one in evidence.tracking
        if one.preset == "sharp" and one.target.name == SET_A.name
    )
    brisk = evidence.people["brisk"]
    waits = [one.waits_to_s(one.back_s) for one in evidence.steps]
    crew = [row for row in evidence.rows if row.solver == "crew"]
    smooth = [row for row in evidence.rows if row.solver == "whole-shot smoothing"]
    least = min(crew, key=lambda row: row.in_frame)
    worst = max(crew, key=lambda row: row.miss_rms)
    return f"""<h1>The crew, measured</h1>
<p>How far does the solved camera move as a person moves it? The crew's numbers on
this page were computed by <code>sh deploy/evidence</code>, with fixed seeds, and stand
in <code>evidence.json</code> and <code>evidence.csv</code> beside it. Numbers of people
and of papers are typed in, each with its source; "measured by us" and "from memory" are
said.</p>
<ul>
<li>As a manual tracker, <b>sharp</b> crosses over at {sharp.crossover:.2f} rad/s
with an effective delay of {sharp.delay_s:.2f} s on a published target (bands for
people, from memory: {CROSSOVER_BAND[0]:g} to {CROSSOVER_BAND[1]:g} rad/s,
{DELAY_BAND[0]:.2f} to {DELAY_BAND[1]:.2f} s).</li>
<li>Beside eight people on the same function, <b>brisk</b> crosses over at
{brisk.crossover.mean():.2f} rad/s with a delay of {brisk.delay_s.mean():.3f} s and a
spread of {brisk.spread:.2f} rad/s from run to run (people {PEOPLE.crossover[0]:g} to
{PEOPLE.crossover[1]:g} rad/s, {PEOPLE.delay_s[0]:g} to {PEOPLE.delay_s[1]:g} s,
{PEOPLE.spread[0]:g} to {PEOPLE.spread[1]:g} rad/s, measured by us).</li>
<li>A step back soon after a first step is answered late, up to gaps of
{min(waits):.2f} to {max(waits):.2f} s by preset (people, at reversals in sustained
control: {REFRACTORY_S[0]:g} to {REFRACTORY_S[1]:g} s).</li>
<li>On {len(evidence.clips)} recorded clips the crew never moved before the subject
did: its earliest answer came {min(row.first_s for row in crew):.2f} s after the
change. Whole-shot smoothing moved {-min(row.first_s for row in smooth):.1f} s
before it.</li>
<li>Rigid aim and whole-shot smoothing frame <em>better</em> than the crew, and in most
takes all four plain ways move <em>less nervously</em>: section 3 says where and at what
price. On files that nothing was set on, a delayed integrator with the crew's own two
numbers misses {_over(evidence):.2f} times as much as the crew.</li>
<li>The crew holds the subject in frame for at least {100 * least.in_frame:.1f} % of
the time on every clip, and misses most on {worst.clip} ({worst.miss_rms:.2f} half
frames r.m.s.).</li>
</ul>"""


def _over(evidence: Evidence) -> float:
    """Return the integrator's mean miss over the crew's, from sticks, held out."""
    out = {clip.name for clip in evidence.clips if clip.held_out}
    miss = {
        solver: np.mean(
            [
                row.miss_rms
                for row in evidence.rows
                if row.solver == solver and row.rig == "sticks" and row.clip in out
            ]
        )
        for solver in ("crew", "delayed integrator")
    }
    return float(miss["delayed integrator"] / miss["crew"])


def limits_of_evidence() -> str:
    """Return what the page does not show."""
    return """<h2>Limits of this evidence</h2>
<ul>
<li>No published measurement of a camera operator's reaction, gain or acceleration
was found. The comparison is with eight people at a display, measured by us, with bands
from memory, and with one clip of one broadcast operator. Sections 1, 2 and 4 show the
crew without variability; sections 1a and 3 show it as it is by default.</li>
<li>A crossover and a delay inside a band do not make a camera human. The band would
not notice a crew without any reaction time: filter, rest and tolerance alone give
an effective delay inside it. The perturbation test and the first step notice.</li>
<li>People change their gain with the target and learn a repeated one. The crew's
gain differs from take to take, whatever the target, and it learns nothing.</li>
<li>Only sums of sines, steps, people, one car and one drone in the open: nobody hides,
the lens is 50 mm, one is framed, and no director has said anything.</li>
<li>Football positions are at 10 Hz from broadcast pictures and lack real bounce;
mocap clips are short and some are repeated.</li>
<li>Nobody has been asked whether they can tell. That test is still to be done.</li>
<li>One data set used in tests, whose owner is not stated, is left out here.</li>
</ul>"""
