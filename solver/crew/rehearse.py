"""The focus that a puller marks at the rehearsal: the subject's depth, read ahead."""

from ..action.acted import acted_point, sample_before
from ..arrays import BEFORE, ZERO
from ..compiled.kernel import kernel
from .puller import focus_through, plans_in_force


@kernel
def rehearsed_focus(who, ticks, mine, rig, camera, nearest, truth):
    """Fill the dioptres that hold a subject's eyes sharp at the ticks.

    Args:
        who: the subject's `ActedSamples`.
        ticks: ascending, (n,) [s].
        mine: ticks at which it is the primary subject, (n,).
        rig: shape of the rig.
        camera: the `CameraPlans`.
        nearest: close focus, in dioptres.
        truth: filled where `mine`, (n,).
    """
    before = BEFORE
    at = (ZERO, ZERO, ZERO)
    dolly, pan, tilt = camera
    for i in range(ticks.shape[0]):
        if not mine[i]:
            continue
        at = plans_in_force(dolly, pan, tilt, at, ticks[i])
        before = sample_before(who.times_s, before, ticks[i])
        point = acted_point(who, before, ticks[i], 1.0)
        truth[i] = focus_through(rig, dolly, pan, tilt, at, ticks[i], point, nearest)
