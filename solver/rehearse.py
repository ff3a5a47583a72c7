"""The focus that a puller marks at the rehearsal: the subject's depth, read ahead."""

import numpy as np

from .acted import acted_point, sample_before
from .compiled import kernel
from .plan import evaluate_plan
from .rig import rig_place

LEAST_DEPTH_M = 1e-3


@kernel
def rehearsed_focus(who, ticks, mine, rig, dolly, pans, tilts, nearest, truth):
    """Fill the dioptres that hold a subject's eyes sharp at the ticks.

    Args:
        who: the subject's `Acted`.
        ticks: ascending, (n,) [s].
        mine: ticks at which it is the primary subject, (n,).
        rig: shape of the rig.
        dolly: log of the dolly's plans; likewise pans and tilts.
        pans: see dolly.
        tilts: see dolly.
        nearest: close focus, in dioptres.
        truth: filled where `mine`, (n,).
    """
    before = -1
    r = p = t = 0
    for i in range(ticks.shape[0]):
        if not mine[i]:
            continue
        now = ticks[i]
        r = _in_force(dolly, r, now)
        p = _in_force(pans, p, now)
        t = _in_force(tilts, t, now)
        before = sample_before(who.times_s, before, now)
        x, y, z = acted_point(who, before, now, 1.0)
        s, _, _ = evaluate_plan(dolly[r], now)
        pan, _, _ = evaluate_plan(pans[p], now)
        tilt, _, _ = evaluate_plan(tilts[t], now)
        base_x, base_y, base_z = rig_place(rig, s)
        depth = (
            -(x - base_x) * np.sin(pan) * np.cos(tilt)
            + (y - base_y) * np.sin(tilt)
            - (z - base_z) * np.cos(pan) * np.cos(tilt)
        )
        truth[i] = min(nearest, 1.0 / max(depth, LEAST_DEPTH_M))


@kernel
def _in_force(log, k, now):
    while k + 1 < log.shape[0] and log[k + 1, 0] <= now:
        k += 1
    return k
