"""The focus that a puller marks at the rehearsal: the subject's depth, read ahead."""

from ..action.acted import acted_point, sample_before
from ..arrays import BEFORE, ZERO
from ..compiled.kernel import kernel
from ..rigs.rig import rig_place
from .plan import evaluate_plan, in_force
from .puller import focus_on


@kernel
def rehearsed_focus(who, ticks, mine, rig, dolly, pans, tilts, nearest, truth):
    """Fill the dioptres that hold a subject's eyes sharp at the ticks.

    Args:
        who: the subject's `ActedSamples`.
        ticks: ascending, (n,) [s].
        mine: ticks at which it is the primary subject, (n,).
        rig: shape of the rig.
        dolly: log of the dolly's plans; likewise pans and tilts.
        pans: see dolly.
        tilts: see dolly.
        nearest: close focus, in dioptres.
        truth: filled where `mine`, (n,).
    """
    before = BEFORE
    r = p = t = ZERO
    for i in range(ticks.shape[0]):
        if not mine[i]:
            continue
        now = ticks[i]
        r = in_force(dolly, r, now)
        p = in_force(pans, p, now)
        t = in_force(tilts, t, now)
        before = sample_before(who.times_s, before, now)
        point = acted_point(who, before, now, 1.0)
        s, _, _ = evaluate_plan(dolly, r, now)
        pan, _, _ = evaluate_plan(pans, p, now)
        tilt, _, _ = evaluate_plan(tilts, t, now)
        truth[i] = focus_on(point, rig_place(rig, s), pan, tilt, nearest)
