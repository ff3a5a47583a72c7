"""What the crew sees of a shot: when it decides, and what each member believes then.

None of it depends on the lens, nor on the rig beyond how far it is from the action, so
setups of one shot are tried on the same beliefs.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np

from ..action.subject import Subject
from ..arrays import FloatArray, IntArray
from ..compiled.kernel import kernel
from ..presets import Member
from ..rigs.clearance import rail_samples
from ..shot import Shot
from .belief import (
    BOUNCE_HZ,
    GAIT_HZ,
    TOLD,
    Samples,
    Watch,
    first_step_s,
    perceive_columns,
)
from .blend import blend_models, steady_crest
from .decide import Seen
from .gains import Settled, settle
from .persistence import EVEN_S, HEIGHT_STEADY, STEADY, believe_fades
from .variability import AS_IT_IS, Perception

PREROLL_S = 3.0  # the crew follows this long before the first solved frame
NEAREST_PREROLL_M = 1.5  # and only while the subject, carried back, keeps this far off
CARRIED_ODDS = -1.0  # that the first two samples show a climb, and not a bounce
# Columns of the ground and of heights in floor x, y, z, eyes x, y, z.
_GROUND, _HEIGHT = np.array([0, 2, 3, 5]), np.array([1, 4])


@lru_cache(maxsize=512)
def _settled(dt_s: float, watch: Watch) -> Settled:
    """Return what `settle` fills; few steps differ in a job."""
    settled = Settled(np.empty((4, 4)), np.empty(4))
    settle(dt_s, watch, settled)
    return settled


def believe(
    member: Member,
    subjects: tuple[Subject, ...],
    ticks: FloatArray,
    perception: Perception = AS_IT_IS,
) -> Seen:
    """Return what one member believes of the subjects at the ticks, facing left out."""
    shape = (len(subjects), len(ticks), 2, 3)
    place, velocity = np.empty(shape), np.empty(shape)
    fades, crest = np.empty((shape[0], 2, shape[1])), np.empty(shape[:2])
    for i, subject in enumerate(subjects if len(ticks) else ()):
        samples = Samples(
            subject.times_s,
            perception.seen_s(subject, member.reaction_s),
            perception.body(subject),
            subject.fresh,
        )
        flat = place[i].reshape(-1, 6), velocity[i].reshape(-1, 6)
        _watched(samples, _GROUND, ticks, ground_watch(member), *flat)
        least, lasts = member.fade_s, fades[i]
        believe_fades(ticks, flat[1], _GROUND[2:], STEADY, least, lasts[0])
        _heights(samples, ticks, member, *flat, lasts[1], crest[i])
    return Seen(ticks, place, velocity, fades, crest, np.empty((len(subjects), 0)))


def _watched(
    samples: Samples,
    columns: IntArray,
    ticks: FloatArray,
    watch: Watch,
    place: FloatArray,
    velocity: FloatArray,
) -> FloatArray:
    """Fill the columns of what is believed by one model; return what it told."""
    settled = _settled(first_step_s(samples.times, samples.fresh), watch)
    told = np.empty((len(ticks), TOLD))
    perceive_columns(samples, columns, ticks, watch, settled, place, velocity, told)
    return told


def _heights(
    samples: Samples,
    ticks: FloatArray,
    member: Member,
    place: FloatArray,
    velocity: FloatArray,
    fades: FloatArray,
    crest: FloatArray,
) -> None:
    """Fill the heights that are believed, by several models, and their crest."""
    watches = height_watches(member)
    shape = (len(watches), len(ticks), 6)
    places, velocities = np.empty(shape), np.empty(shape)
    told = np.array(
        [
            _watched(samples, _HEIGHT, ticks, watch, places[j], velocities[j])
            for j, watch in enumerate(watches)
        ]
    )
    lasts = np.empty(shape[:2])
    for j in range(len(watches)):
        least = member.height_fade_s
        believe_fades(ticks, velocities[j], _HEIGHT[1:], HEIGHT_STEADY, least, lasts[j])
    odds = np.array([odds_of(one) for one in watches])
    models = places, velocities, lasts
    blend_models(told, odds, models, _HEIGHT, place, velocity, fades, crest)
    steady_crest(ticks, crest)


def ground_watch(member: Member) -> Watch:
    """Return how a member watches what people do on the ground."""
    return Watch(
        reaction=member.reaction_s,
        bandwidth=member.bandwidth_rad_s,
        fade=EVEN_S,
        gait=member.gait,
        gait_hz=GAIT_HZ,
        carry=True,
        stands=True,
    )


@lru_cache(maxsize=64)
def height_watches(member: Member) -> tuple[Watch, ...]:
    """Return how a member may watch heights: as of one who bounces at a rate, or not.

    One who climbs from the start is believed to only when the next samples say so.
    """
    quick = ground_watch(member)._replace(
        bandwidth=member.bandwidth_rad_s * member.height_share,
        carry=False,
        stands=False,
    )
    bouncing = quick._replace(
        bandwidth=member.bandwidth_rad_s * member.bounce_share, gait=member.height_gait
    )
    climbs = quick._replace(carry=True)
    if member.height_gait == 0.0:
        return quick, climbs
    return quick, climbs, *(bouncing._replace(gait_hz=rate) for rate in BOUNCE_HZ)


def odds_of(watch: Watch) -> float:
    """Return what speaks for a model of heights before anything was seen."""
    return CARRIED_ODDS if watch.carry else 0.0


def _facing(
    member: Member, subjects: tuple[Subject, ...], ticks: FloatArray
) -> FloatArray:
    """Return the facing last seen by each tick, (n_subjects, n_ticks) [rad]."""
    out = np.full((len(subjects), len(ticks)), np.nan)
    for i, subject in enumerate(subjects):
        times = subject.times_s[subject.fresh]
        seen = np.searchsorted(times, ticks - member.reaction_s + 1e-9, "right") - 1
        out[i] = subject.facing_rad[subject.fresh][np.maximum(seen, 0)]
    return out


@dataclass(frozen=True, kw_only=True, slots=True)
class Observed:
    """What grip and operator see and believe at the ticks; no grip, no ticks of his."""

    grip: Seen
    operator: Seen

    @property
    def ticks(self) -> FloatArray:
        """Decision times, (n_ticks,) [s]."""
        return self.operator.ticks


def observe(
    shot: Shot,
    preroll: int | None = None,
    *,
    dolly: bool = True,
    handle: bool = True,
    level: float = 0.0,
) -> Observed:
    """Let grip and operator watch a shot.

    Args:
        shot: the shot.
        preroll: frames watched before the first handle; None for `preroll_frames`.
        dolly: whether there is one, so that the grip has something to believe.
        handle: whether they go on after the cut.
        level: of their variability in perception; who tries setups leaves it at 0.
    """
    n_before = preroll_frames(shot) if preroll is None else preroll
    first = shot.first - shot.handles[0] - n_before
    last = shot.last + (shot.handles[1] if handle else 0)
    ticks = shot.times_of(np.arange(first, last + 2, dtype=np.float64))
    operator = believe(
        shot.crew.operator,
        shot.subjects,
        ticks,
        Perception(level=level, seed=shot.seed, member="operator"),
    )
    facing = _facing(shot.crew.operator, shot.subjects, ticks)
    return Observed(
        grip=believe(
            shot.crew.grip,
            shot.subjects,
            ticks if dolly else ticks[:0],
            Perception(level=level, seed=shot.seed, member="grip"),
        ),
        operator=operator._replace(facing=facing),
    )


def preroll_frames(shot: Shot) -> int:
    """Return how many frames the crew follows before the first handle.

    The pre-roll carries the first two samples backwards, and stays where that keeps
    the subject clear of the rig; it reads nothing else of the action.
    """
    clear: int = frames_clear(shot.rig.shape, carried_back(shot), *preroll_length(shot))
    return clear


def preroll_length(shot: Shot) -> tuple[float, int]:
    """Return the frame rate and how many frames are followed at most."""
    rate = float(shot.rate)
    return rate, ceil(PREROLL_S * rate)


def carried_back(shot: Shot) -> FloatArray:
    """Return place and speed on the ground of the first samples, (k, 4) [m, m/s].

    A row x, z, vx, vz for each subject that is framed first and moves.
    """
    rows = []
    for subject, weight in zip(shot.subjects, shot.framings[0].weights, strict=True):
        first = np.flatnonzero(subject.fresh)[:2]
        if weight <= 0 or len(first) < 2:
            continue
        (x, _, z), (x2, _, z2) = subject.floor[first].tolist()
        one, two = subject.times_s[first].tolist()
        rows.append((x, z, (x2 - x) / (two - one), (z2 - z) / (two - one)))
    return np.array(rows).reshape(len(rows), 4)


@kernel
def frames_clear(rig, carried, rate, most):
    """Return for how many frames back all keep clear of a rig, up to `most`."""
    rail = rail_samples(rig)
    for k in range(most):
        back = (k + 1) / rate
        for j in range(carried.shape[0]):
            x = carried[j, 0] - back * carried[j, 2]
            z = carried[j, 1] - back * carried[j, 3]
            for i in range(rail.shape[0]):
                dx, dz = x - rail[i, 0], z - rail[i, 2]
                if dx * dx + dz * dz < NEAREST_PREROLL_M * NEAREST_PREROLL_M:
                    return k
    return most
