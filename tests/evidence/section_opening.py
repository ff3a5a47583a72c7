"""What was found, in short, and what was not shown."""

from .gather import CROSSOVER_BAND, DELAY_BAND, Evidence
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
    crew = [row for row in evidence.rows if row.solver == "crew"]
    smooth = [row for row in evidence.rows if row.solver == "whole-shot smoothing"]
    least = min(crew, key=lambda row: row.in_frame)
    worst = max(crew, key=lambda row: row.miss_rms)
    return f"""<h1>The crew, measured</h1>
<p>Does the solved camera move as a person moves it? The crew's numbers on this page
were computed by <code>sh deploy/evidence</code>, with fixed seeds, and stand in
<code>evidence.json</code> and <code>evidence.csv</code> beside it. Numbers of people
and
of papers are typed in, each with its source; "measured by us" and "from memory" are
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
<li>A second step soon after a first is answered late.</li>
<li>On {len(evidence.clips)} recorded clips the crew never moved before the subject
did: its earliest answer came {min(row.first_s for row in crew):.2f} s after the
change. Whole-shot smoothing moved {-min(row.first_s for row in smooth):.1f} s
before it.</li>
<li>Rigid aim and whole-shot smoothing frame <em>better</em> than the crew, and
low-pass lag and whole-shot smoothing move <em>less nervously</em>, as rigid aim does
on a track: section 3 says where and at what price.</li>
<li>The crew holds the subject in frame for at least {100 * least.in_frame:.1f} % of
the time on every clip, and misses most on {worst.clip} ({worst.miss_rms:.2f} half
frames r.m.s.).</li>
</ul>"""


def limits_of_evidence() -> str:
    """Return what the page does not show."""
    return """<h2>Limits of this evidence</h2>
<ul>
<li>No published measurement of a camera operator's reaction, gain or acceleration
was found. The comparison is with eight people at a display, measured by us, with bands
from memory, and with one clip of one broadcast operator. Sections 1 and 2 show the crew
without variability; section 1a shows it as it is by default.</li>
<li>A crossover and a delay inside a band do not make a camera human. The band would
not notice a crew without any reaction time: filter, rest and tolerance alone give
an effective delay inside it. The perturbation test and the first step notice.</li>
<li>People change their gain with the target and learn a repeated one. The crew's
gain differs from take to take, whatever the target, and it learns nothing.</li>
<li>Only sums of sines, steps, people, one car and one drone in the open: nobody hides,
the
lens is 50 mm, one is framed, and no director has said anything.</li>
<li>Football positions are at 10 Hz from broadcast pictures and lack real bounce;
mocap clips are short and some are repeated.</li>
<li>Nobody has been asked whether they can tell. That test is still to be done.</li>
<li>One data set used in tests, whose owner is not stated, is left out here.</li>
</ul>"""
