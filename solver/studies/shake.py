"""Shake separated from the move: its strength, its band, and the nearest level.

Measured twice, on the camera's own curves and on what an explanation leaves of them;
the more certain of the two counts. So an explanation may miss a decision now and then,
and the shake of a move without explanation is measured too.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import FloatArray
from ..shake import LEVELS
from .camera import CameraMove
from .level import LEAST_RATE_HZ, LevelFound, find_level

BAND_SHARE = (0.05, 0.95)  # of the power, the band's ends
LEAST_S = 4.0
APART = 1.35  # times: more than chance makes of pan and tilt, mostly
BY_PLAIN_WAY, BY_CREW, BY_PARTED_CREW = "plain way", "crew", "crew whose decisions part"
QUIET_PERCENT = 0.02  # of the frame width, nobody sees it


@dataclass(frozen=True, kw_only=True, slots=True)
class ShakeFound:
    """What shakes.

    Attributes:
        percent: of the frame's width, r.m.s. of pan and tilt; None below the floor.
        low, high: the level's 95 % interval; None with `percent`.
        floor_percent: what move and noise hide.
        why: what is missing, empty where there is a value.
        level: name of the level that is most like it, None where none is.
        band_hz: where 90 % of its power lies.
        roll_deg: r.m.s. of roll about its mean.
        hz, density: its spectrum, one-sided, percent^2 / Hz, (k,) each.
    """

    percent: float | None
    low: float | None
    high: float | None
    floor_percent: float
    why: str
    level: str | None
    band_hz: tuple[float, float] | None
    roll_deg: float
    hz: FloatArray
    density: FloatArray


def level_of(
    camera: CameraMove, left: FloatArray | None = None, *, by: str = BY_PLAIN_WAY
) -> LevelFound:
    """Return the level of shake on a camera's curves.

    Args:
        camera: what was moved.
        left: pan and tilt less the move that explains them, (2, n) [rad]; None where
            nothing does.
        by: what explains them: `BY_PLAIN_WAY` to the last sample, `BY_CREW` to the last
            decision, `BY_PARTED_CREW` with decisions that part now and then.
    """
    scale = 100 / (2 * camera.tangents[0])
    n = len(camera.times_s) if left is None else left.shape[1]
    own = find_level(scale * camera.angles[:, :n], camera.rate_hz)
    if left is None:
        return own
    if by == BY_PLAIN_WAY:
        # To the last sample: what of the subject's gait it follows is no shake.
        return find_level(scale * left, camera.rate_hz)
    rest = _clean(scale * left, camera.rate_hz)
    if by == BY_PARTED_CREW and own.present and rest.present:
        # Decisions that part only add to what is left: it bounds the shake from above.
        least = min(own, rest, key=lambda one: one.percent)
        return replace(least, high=min(own.high, rest.high))
    known = own.present or by == BY_CREW  # else it may be decisions that part
    return rest if known and (rest.present or not own.present) else own


def _clean(left: FloatArray, rate_hz: float) -> LevelFound:
    """Return the level of both channels, or of the one that misses no decisions.

    A level is alike in pan and tilt, so what one has more is no shake.
    """
    calm, other = sorted(
        (find_level(one[None], rate_hz) for one in left), key=lambda one: one.percent
    )
    if calm.present and other.percent > APART * calm.percent:
        return calm
    return find_level(left, rate_hz)


def study_shake(
    camera: CameraMove, left: FloatArray | None, *, by: str = BY_PLAIN_WAY
) -> ShakeFound:
    """Measure the shake of a camera.

    Args:
        camera: what was moved.
        left: pan and tilt less the move that explains them, (2, n) [rad]; None where
            nothing does.
        by: what explains them; see `level_of`.
    """
    roll_deg = float(np.degrees(camera.roll.std()))
    short = _too_little(camera)
    if short:
        return _untold(short, roll_deg)
    found = level_of(camera, left, by=by)
    hidden = not found.present or found.percent < QUIET_PERCENT
    most = found.high if hidden else found.percent
    level: str | None = found.name
    if hidden or most < 2 * QUIET_PERCENT:
        # Weaker than the weakest level that shakes, for all that can be told.
        level = "locked" if most < _weakest() else None
    if hidden:
        why = f"move and noise hide what is below {most:.3f} % of the frame width"
        floor = max(most, QUIET_PERCENT)
        return _untold(why, roll_deg, floor=floor, level=level)
    return ShakeFound(
        percent=found.percent,
        low=found.low,
        high=found.high,
        floor_percent=max(found.floor_percent, QUIET_PERCENT),
        why="",
        level=level,
        band_hz=_band(found.hz, found.density),
        roll_deg=roll_deg,
        hz=found.hz,
        density=found.density,
    )


def _too_little(camera: CameraMove) -> str:
    if camera.seconds < LEAST_S:
        return f"shorter than {LEAST_S:g} s"
    if camera.rate_hz < LEAST_RATE_HZ:
        return f"fewer than {LEAST_RATE_HZ:g} samples a second"
    return ""


def _untold(
    why: str, roll_deg: float, *, floor: float = QUIET_PERCENT, level: str | None = None
) -> ShakeFound:
    return ShakeFound(
        percent=None,
        low=None,
        high=None,
        floor_percent=floor,
        why=why,
        level=level,
        band_hz=None,
        roll_deg=roll_deg,
        hz=np.empty(0),
        density=np.empty(0),
    )


def _weakest() -> float:
    return min(level.percent for level in LEVELS.values() if level.percent > 0)


def _band(hz: FloatArray, density: FloatArray) -> tuple[float, float]:
    total = np.cumsum(density)
    low, high = (float(hz[np.searchsorted(total, s * total[-1])]) for s in BAND_SHARE)
    return low, high
