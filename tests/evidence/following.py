"""How the crew follows: ripple behind even motion, stops, handles.

`python -m evidence.following`, with `tests/` on the path, prints every figure. Ripple
is the rate of the pan (or tilt) less the rate of the subject's bearing (or elevation)
from where the lens is, over the mean rate that a lens which stood still would see; its
r.m.s. and peak are taken from two seconds after the start on.
"""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from shots import LENS_HEIGHT_M, acted, shot

from carrellata.solver.crew.perform import Plans
from carrellata.solver.presets import PRESETS
from carrellata.solver.rigs.arc import arc as make_arc
from carrellata.solver.rigs.shape import Rig
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.shot import Shot
from carrellata.solver.take import Take, operate

from .clips import clips, staged

FloatArray = NDArray[np.float64]
Path = Callable[[FloatArray], FloatArray]

SECONDS = 8.0
SETTLED_S = 2.0
BESIDE_M = 8.0
SAMPLES = 4  # a frame
REST_RAD_S = np.radians(0.5)
REST_M_S = 0.02
SPEEDS_M_S = (1.0, 1.3, 2.0, 3.0, 5.0)
RIGS = ("sticks", "track", "arc", "climb")
STOP_S = 4.0
CUT_EVERY, CUT_S = 96, 3.0  # frames between the cuts of a recorded clip; their length
LEAST_RAD_S = np.radians(0.5)  # turns slower than this have no ripple to see


def even(rig: str, speed: float, seconds: float = SECONDS) -> tuple[Path, Rig]:
    """Return an even motion, and the rig beside it."""
    far = speed * seconds / 2

    def line(t: FloatArray) -> FloatArray:
        return np.column_stack([speed * t - far, 0 * t, 0 * t])

    if rig == "sticks":
        return line, make_sticks([0.0, LENS_HEIGHT_M, BESIDE_M])
    if rig == "track":
        ends = ([x, LENS_HEIGHT_M, BESIDE_M] for x in (-far - 6.0, far + 6.0))
        return line, make_track(*ends)
    if rig == "climb":
        slope = np.array([1.0, 0.25, 0.0]) / np.hypot(1.0, 0.25)
        up = lambda t: np.outer(speed * t - far, slope)  # noqa: E731
        return up, make_sticks([0.0, LENS_HEIGHT_M, BESIDE_M])
    # About a point behind the lens, so that the dolly runs less far than the walk.
    radius = 12.0
    half = min(1.5, np.arctan2(far, BESIDE_M + radius) + 0.3)
    centre = np.array([0.0, LENS_HEIGHT_M, BESIDE_M + radius])
    return line, make_arc(centre, radius=radius, start=-half, sweep=2 * half)


def evenly(rig: str, speed: float, preset: str) -> Shot:
    """Return the shot of an even motion."""
    path, place = even(rig, speed)
    return shot(
        acted(path, SECONDS),
        place,
        size="medium",
        preset=preset,
        samples_per_frame=SAMPLES,
    )


class Ripple(NamedTuple):
    """Ripple of pan and tilt (r.m.s. and peak, shares) and decisions a second."""

    pan_rms: float
    pan_peak: float
    tilt_rms: float
    tilt_peak: float
    pans_per_s: float
    tilts_per_s: float
    dollies_per_s: float


def ripple(take: Take) -> Ripple:
    """Return how evenly a take follows; nought of tilt where nobody climbs."""
    one = take.shot
    t = take.times_s
    late = (t - t[0] >= SETTLED_S) & (t < t[-1] - 0.2)  # the last sample is held
    point = one.subjects[0].at(t, one.framings[0].aim)
    flow = np.gradient(point, t, axis=0)
    d = point - take.base
    still = _turning(d, flow)
    seen = _turning(d, flow - np.gradient(take.base, t, axis=0))
    shares = []
    for c, angle in ((0, take.pan), (1, take.tilt)):
        mean = np.abs(still[c][late]).mean()
        off = (angle[:, 1] - seen[c])[late][1:-1]
        if mean < LEAST_RAD_S:
            shares += [0.0, 0.0]
            continue
        shares += [float(np.sqrt(np.mean(off**2)) / mean), float(abs(off).max() / mean)]
    counts = [
        _rate(plans, float(t[0]))
        for plans in (take.pan_plans, take.tilt_plans, take.dolly_plans)
    ]
    return Ripple(*shares, *counts)


def _rate(plans: Plans, start: float) -> float:
    """Return decisions a second after two seconds, by the time between them."""
    late = plans.starts_s[plans.starts_s > start + SETTLED_S]
    before = plans.starts_s[plans.starts_s <= start + SETTLED_S][-1:]
    return len(late) / float(late[-1] - before[0]) if len(late) else 0.0


def _turning(d: FloatArray, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the rates of bearing and elevation, (n,) each [rad/s]."""
    level = np.hypot(d[:, 0], d[:, 2])
    bearing = (d[:, 2] * flow[:, 0] - d[:, 0] * flow[:, 2]) / level**2
    along = (d[:, 0] * flow[:, 0] + d[:, 2] * flow[:, 2]) / level
    rise = (level * flow[:, 1] - d[:, 1] * along) / (level**2 + d[:, 1] ** 2)
    return bearing, rise


def ripples() -> Iterator[tuple[str, float, str, Ripple]]:
    """Yield every even motion with every preset."""
    for rig in RIGS:
        for speed in SPEEDS_M_S:
            for preset in PRESETS:
                yield rig, speed, preset, ripple(operate(evenly(rig, speed, preset)))


def stopping(rig: str, speed: float, preset: str) -> Shot:
    """Return the shot of somebody who stops dead after four seconds."""
    _, place = even(rig, speed, 2 * STOP_S)
    path = lambda t: np.column_stack(  # noqa: E731
        [speed * (np.minimum(t, STOP_S) - STOP_S), 0 * t, 0 * t]
    )
    walker = acted(path, STOP_S + 8.0)
    return shot(walker, place, size="medium", preset=preset, samples_per_frame=SAMPLES)


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """What pan and dolly do after a hard stop.

    Attributes:
        overshoots: times that the pan turns back by more than half a degree.
        pan_rest_s, dolly_rest_s: after the stop, when they are at rest for good.
        dolly_rest_s: see pan_rest_s.
        past_m: the dolly's furthest beyond the subject's place.
        back_m: how far it comes back.
        worst_u: largest |u| of the eyes after the stop; off_u: at the end.
        off_u: see worst_u.
    """

    overshoots: int
    pan_rest_s: float
    dolly_rest_s: float
    past_m: float
    back_m: float
    worst_u: float
    off_u: float


def stopped(take: Take) -> Stop:
    """Return what a take does after the subject's stop."""
    t = take.times_s
    stop = t[0] + STOP_S
    after = t >= stop

    def rest(rate: FloatArray, least: float) -> float:
        moving = np.flatnonzero(after & (np.abs(rate) > least))
        return float(t[moving[-1]] - stop) if len(moving) else 0.0

    s = take.rail[after, 0]
    there = take.shot.subjects[0].floor[-1]
    moved = take.base[after] - there
    u = take.u[after]
    return Stop(
        overshoots=_turns(take.pan[after, 0], np.radians(0.5)),
        pan_rest_s=rest(take.pan[:, 1], REST_RAD_S),
        dolly_rest_s=rest(take.rail[:, 1], REST_M_S),
        past_m=float(moved[:, 0].max()) if np.ptp(s) > 0 else 0.0,
        back_m=float(s.max() - s[-1]),
        worst_u=float(np.abs(u).max()),
        off_u=float(u[-1]),
    )


def _turns(values: FloatArray, least: float) -> int:
    """Count how often a curve turns back by more than `least`."""
    turns, way, far = 0, 0.0, values[0]
    for value in values:
        if way == 0.0:
            if abs(value - far) > least:
                way, far = np.sign(value - far), value
        elif (value - far) * way >= 0:
            far = value
        elif abs(value - far) > least:
            turns, way, far = turns + 1, -way, value
    return turns


def stops() -> Iterator[tuple[str, float, str, Stop]]:
    """Yield hard stops from a walk and from a run."""
    for rig in ("sticks", "track"):
        for speed in (1.4, 5.0):
            for preset in PRESETS:
                take = operate(stopping(rig, speed, preset))
                yield rig, speed, preset, stopped(take)


def with_handle(one: Shot, handle: int) -> Shot:
    """Return a shot cut a second later than its action, with a head handle."""
    return replace(one, first=one.first + 24, handles=(handle, 0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Handles:
    """How far a handle of 12 or 24 frames moves pan [rad] and dolly [m] in the cut."""

    pan_rad: float
    dolly_m: float


def handled(one: Shot) -> Handles:
    """Return how far head handles move the camera inside the cut."""
    takes = [operate(with_handle(one, handle)) for handle in (0, 12, 24)]
    inside = [~take.handle for take in takes]
    pans = [take.pan[now, 0] for take, now in zip(takes, inside, strict=True)]
    rails = [take.rail[now, 0] for take, now in zip(takes, inside, strict=True)]
    return Handles(
        pan_rad=max(float(np.abs(pan - pans[0]).max()) for pan in pans),
        dolly_m=max(float(np.abs(rail - rails[0]).max()) for rail in rails),
    )


def handles() -> Iterator[tuple[str, float, str, Handles]]:
    """Yield every even motion with and without handles."""
    for rig in RIGS:
        for speed in SPEEDS_M_S:
            for preset in PRESETS:
                one = evenly(rig, speed, preset)
                yield rig, speed, preset, handled(replace(one, samples_per_frame=1))


def recorded_handles(preset: str = "brisk") -> Iterator[tuple[str, str, int, Handles]]:
    """Yield recorded people cut in the midst of the action, with and without handles.

    Every clip is cut each `CUT_EVERY` frames on sticks and on a track, for `CUT_S`.
    """
    for clip in clips():
        for rig in ("sticks", "track"):
            whole = staged(clip, rig, PRESETS[preset])
            rate = float(whole.rate)
            for cut in range(48, whole.last - round(CUT_S * rate), CUT_EVERY):
                part = replace(whole, first=cut - 24, last=cut + round(CUT_S * rate))
                yield clip.name, rig, cut, handled(part)


def _print_ripples() -> None:
    print("even motion: ripple r.m.s. and peak [%], decisions a second")
    for rig, speed, preset, found in ripples():
        print(
            f"  {rig:6} {speed:.1f} m/s {preset:10}"
            f" pan {100 * found.pan_rms:5.1f} {100 * found.pan_peak:5.1f}"
            f"  tilt {100 * found.tilt_rms:5.1f} {100 * found.tilt_peak:5.1f}"
            f"  pan {found.pans_per_s:.2f} tilt {found.tilts_per_s:.2f}"
            f" dolly {found.dollies_per_s:.2f}"
        )


def _print_stops() -> None:
    print("hard stop: overshoots, at rest [s], dolly past and back [m], u")
    for rig, speed, preset, found in stops():
        print(
            f"  {rig:6} {speed:.1f} m/s {preset:10} {found.overshoots}"
            f"  pan {found.pan_rest_s:.2f} dolly {found.dolly_rest_s:.2f}"
            f"  past {found.past_m:.2f} back {found.back_m:.2f}"
            f"  u {found.worst_u:.2f} ends {found.off_u:+.2f}"
        )


def _print_handles() -> None:
    print("handles of 0 to 24 frames: pan [deg] and dolly [m] inside the cut")
    for rig, speed, preset, found in handles():
        print(
            f"  {rig:6} {speed:.1f} m/s {preset:10}"
            f" {np.degrees(found.pan_rad):.2f} {found.dolly_m:.3f}"
        )


def _print_recorded() -> None:
    print("handles of 0 to 24 frames on recorded clips, brisk: pan [deg], dolly [m]")
    found = list(recorded_handles())
    for name in dict.fromkeys(name for name, *_ in found):
        for rig in ("sticks", "track"):
            mine = [
                one for clip, place, _, one in found if (clip, place) == (name, rig)
            ]
            pans = np.degrees([one.pan_rad for one in mine])
            rails = np.array([one.dolly_m for one in mine])
            print(
                f"  {name:22} {rig:6} {len(mine):3} cuts"
                f"  pan median {np.median(pans):5.2f} most {pans.max():5.2f}"
                f"  dolly median {np.median(rails):.3f} most {rails.max():.3f}"
            )


if __name__ == "__main__":
    sections = {
        "ripple": _print_ripples,
        "stops": _print_stops,
        "handles": _print_handles,
        "recorded": _print_recorded,
    }
    for section in sys.argv[1:] or sections:
        sections[section]()
