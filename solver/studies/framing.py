"""How a camera frames its subject, and which lens it has."""

from dataclasses import dataclass

import numpy as np

from ..action.body import EYES, SIZES, aim_fraction, fill_of
from ..action.subject import Subject
from ..arrays import BoolArray, FloatArray
from ..crew.operator import SAFE
from ..frame.projection import project
from .camera import CameraMove

DRIFT_SHARE = 0.002  # of the focal length; less is rounding
KIT_SHARE = 0.005  # a lens within this of one in the kit is that one
FAR_OUT = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Framed:
    """What was framed.

    Attributes:
        size: nearest named size by the median height of the body in frame.
        aim: body point taken as held, floor 0 to eyes 1.
        u, v: its median place, half frames.
        seen: share of the time at which the subject is not hidden.
        in_frame, in_safe, body_in_frame: shares of the time that it is seen.
        drift_rms, drift_max: of the held point about its median, half frames.
        body_share: median height of the whole body, of the frame's.
        size_spread: 90 % range of that height, over its median.
        distance_m: median distance from the lens.
    """

    size: str
    aim: float
    u: float
    v: float
    seen: float
    in_frame: float
    in_safe: float
    body_in_frame: float
    drift_rms: float
    drift_max: float
    body_share: float
    size_spread: float
    distance_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class LensUse:
    """The lens.

    Attributes:
        focal_mm: median; drift_mm: largest change; drifts: whether that is a zoom.
        nearest_mm: of the kit, None without a kit; in_kit: whether it is that one.
    """

    focal_mm: float
    drift_mm: float
    drifts: bool
    nearest_mm: float | None
    in_kit: bool


def study_framing(
    camera: CameraMove, subject: Subject, size: str | None = None
) -> Framed:
    """Return how a camera frames a subject.

    Args:
        camera: what was moved.
        subject: whom it shows.
        size: named size, where it is known; else the nearest is taken.
    """
    times = camera.times_s
    tx, ty = camera.tangents

    def screen(fraction: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        u, v, depth = project(
            subject.at(times, fraction),
            camera.place,
            camera.pan,
            camera.tilt,
            camera.roll,
            tx,
            ty,
        )
        return u, v + camera.gate.axis_v, depth

    eyes, low = subject.at(times, 1.0), subject.at(times, 0.0)
    distance = np.linalg.norm((eyes + low) / 2 - camera.place, axis=1)
    heights = np.linalg.norm(eyes - low, axis=1) / EYES / (2 * distance * ty)
    share = float(np.median(heights))
    named = size or nearest_size(share)
    aim = aim_fraction(named) / EYES
    u, v, _ = screen(aim)
    span = SIZES[named]
    ends = [screen(span.top / EYES), screen(span.bottom / EYES)]
    inside = (np.abs(u) <= 1) & (np.abs(v) <= 1)
    whole = inside & np.all([np.abs(w) <= 1 for _, w, _ in ends], axis=0)
    to_see = _to_see(subject, times)
    safe = (np.abs(u) <= SAFE) & (np.abs(v) <= SAFE)
    shown = np.clip(np.stack([u, v]), -FAR_OUT, FAR_OUT)
    middle = np.median(shown, axis=1)
    off = shown - middle[:, None]
    spread = float(np.subtract(*np.quantile(heights, [0.95, 0.05])))
    return Framed(
        size=named,
        aim=aim,
        u=float(middle[0]),
        v=float(middle[1]),
        seen=float(to_see.mean()),
        in_frame=_share(inside, to_see),
        in_safe=_share(safe, to_see),
        body_in_frame=_share(whole, to_see),
        drift_rms=float(np.sqrt((off**2).sum(axis=0).mean())),
        drift_max=float(np.abs(off).max()),
        body_share=share,
        size_spread=spread / share,
        distance_m=float(np.median(distance)),
    )


def _to_see(subject: Subject, times: FloatArray) -> BoolArray:
    """Return at which times the samples on both sides are not hidden, (n,)."""
    seen = np.interp(times, subject.times_s, subject.visible.astype(np.float64))
    whole: BoolArray = seen > 1 - 1e-6
    return whole


def _share(kept: BoolArray, to_see: BoolArray) -> float:
    """Return a share of the time that the subject is seen; all of none."""
    return float(kept[to_see].mean()) if to_see.any() else 1.0


def nearest_size(share: float) -> str:
    """Return the named size at which the whole body would take this much of the frame.

    Args:
        share: height of the whole body over the frame's, may be over 1.
    """
    wholes = {
        name: fill_of(name, 0.08) / (span.top - span.bottom)
        for name, span in SIZES.items()
    }
    return min(wholes, key=lambda name: abs(np.log(wholes[name] / max(share, 1e-6))))


def study_lens(camera: CameraMove, kit_mm: tuple[float, ...]) -> LensUse:
    """Return which lens a camera has on and whether it stays.

    Args:
        camera: what was moved.
        kit_mm: focal lengths that there are [mm]; empty if any is allowed.
    """
    focal, drift = camera.focal, float(np.ptp(camera.focal_mm))
    nearest = min(kit_mm, key=lambda mm: abs(np.log(mm / focal)), default=None)
    return LensUse(
        focal_mm=focal,
        drift_mm=drift,
        drifts=drift > DRIFT_SHARE * focal,
        nearest_mm=nearest,
        in_kit=nearest is None or abs(focal / nearest - 1) <= KIT_SHARE,
    )
