"""A take that is kept, measured against the action as it is now.

The pose, lens and focus are those of the take, sample by sample; the subjects and what
is asked of the frame are the shot's. Nothing is operated.
"""

from dataclasses import dataclass, replace

import numpy as np

from .arrays import FloatArray, IntArray
from .crew.perform import Plans
from .crew.plan import straight_on
from .crew.planner import planner_of
from .cuts.findings import OF_SHOT, THIS_TOOL, Finding
from .measures.measure import measure
from .measures.on_stage import Measures
from .optics.camera import Gate
from .optics.lens import Lens
from .shake import ShakeTrack
from .shot import Shot
from .take import Take, seen_through

# Measures that say how the take was operated, which the action of today cannot change.
OPERATED = (
    "pan_decisions_per_s",
    "tilt_decisions_per_s",
    "dolly_decisions_per_s",
    "refused_plans",
    "whip_plans",
    "pan_speed_used",
)
BROKEN = "lock_broken"
WORSE = 0.02  # of the cut: less than this and the take still holds
_SHARES = ("head_in_frame", "body_in_frame", "size_kept", "angle_kept")


@dataclass(frozen=True, kw_only=True, slots=True)
class WrittenTake:
    """A take as it was written, n samples in metres, radians and seconds, Y up.

    `rail`, `pan` and `tilt` are (n, 3): value, speed, acceleration; `aim_u` and
    `aim_v` (n,) where the frame was asked to hold its subject.
    """

    gate: Gate
    lens: Lens
    stop: float
    coc_mm: float
    roll_rad: float
    frame: IntArray
    sub: IntArray
    rail: FloatArray
    pan: FloatArray
    tilt: FloatArray
    base: FloatArray
    shake: ShakeTrack
    place: FloatArray
    turn: FloatArray
    focus_m: FloatArray
    aim_u: FloatArray
    aim_v: FloatArray

    @property
    def samples_per_frame(self) -> int:
        """Samples from one frame to the next."""
        return int(self.sub.max()) + 1


def audit(take: Take, then: Measures) -> Measures:
    """Return the measures of a kept take against a shot's action.

    Args:
        take: of `against`.
        then: the take's own measures.

    Returns:
        As `measure` gives them, over the frames of the cut that both have; how the
        take was operated is as it was.
    """
    return measure(take) | {name: then.get(name) for name in OPERATED}


def against(shot: Shot, kept: WrittenTake) -> Take:
    """Return a kept take as it shows a shot's action.

    Args:
        shot: of today; it has frames in common with the take.
        kept: the take, at the shot's rate.
    """
    first = max(shot.first - shot.handles[0], int(kept.frame[0]))
    last = min(shot.last + shot.handles[1], int(kept.frame[-1]))
    rows = (kept.frame >= first) & (kept.frame <= last)
    now = replace(
        shot,
        samples_per_frame=kept.samples_per_frame,
        gate=kept.gate,
        lens=kept.lens,
        stop=kept.stop,
        coc_mm=kept.coc_mm,
        roll_rad=kept.roll_rad,
    )
    frame, sub = kept.frame[rows], kept.sub[rows]
    times = now.times_of(frame + sub / now.samples_per_frame)
    base, pan, tilt = kept.base[rows], kept.pan[rows], kept.tilt[rows]
    place, focus_m = kept.place[rows], kept.focus_m[rows]
    shake = ShakeTrack(
        **{name: getattr(kept.shake, name)[rows] for name in ShakeTrack.__slots__}
    )
    none = _no_plans(shot)
    return Take(
        shot=now,
        times_s=times,
        frame=frame,
        sub=sub,
        rail=kept.rail[rows],
        pan=pan,
        tilt=tilt,
        base=base,
        shake=shake,
        place=place,
        turn=kept.turn[rows],
        focus_m=focus_m,
        **seen_through(now, times, base, pan, tilt, shake, place, focus_m),
        aim_u=kept.aim_u[rows],
        aim_v=kept.aim_v[rows],
        dolly_plans=none,
        pan_plans=none,
        tilt_plans=none,
        focus_plans=none,
    )


def lock_findings(then: Measures, now: Measures) -> tuple[Finding, ...]:
    """Return what a kept take no longer holds of the action.

    Args:
        then: the take's own measures.
        now: its measures against the action of today.
    """
    numbers: dict[str, float | str] = {}
    for name in (*_SHARES, "soft"):
        before, after = then.get(name), now.get(name)
        if not isinstance(before, float) or not isinstance(after, float):
            continue
        lost = after - before if name == "soft" else before - after
        if lost > WORSE:
            numbers |= {name: after, f"{name}_locked": before}
    if not numbers:
        return ()
    severity = "fault" if "head_in_frame" in numbers else "warning"
    return (
        Finding(
            name=BROKEN,
            severity=severity,
            subject_of=OF_SHOT,
            numbers=numbers,
            source=THIS_TOOL,
        ),
    )


def _no_plans(shot: Shot) -> Plans:
    """Return a channel of one plan that stands, for measures that count plans."""
    return Plans(
        log=straight_on(0.0, 0.0, 0.0),
        planner=planner_of(shot.crew.operator),
        refused=0,
        whips=np.zeros(1, dtype=np.bool_),
    )
