"""One end of an operated shot, as continuity judges it.

Metres, radians and seconds, Y up; bearings as in `cut_action`. Screen places are in
half frames, u positive to the right and v up. Without the shake.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import isfinite
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..claims.everyone import FrameTable, frames_of_take
from ..elementary.arctangent import atan2
from ..elementary.length import hypot
from ..elementary.trigonometry import cos, sin
from ..optics.camera import Gate
from ..optics.lens import Lens
from ..shot import Shot
from ..take import Take
from .appearance import Appearance, appearances
from .at_cut import ActionAtCut, CutAction, Point, bearing_rad, cut_action


@dataclass(frozen=True, kw_only=True, slots=True)
class CutEnd(ActionAtCut):
    """The action at one frame, and where the camera saw it from.

    Attributes:
        lens: place of the lens [m].
        u, v: of the aim point of the primary; None while it is hidden or behind.
        across_m_s: its speed to the right of the frame.
        size: of the named span, a share of the frame height; None like u.
        focal_mm: of the lens; tan_u, tan_v its half-frame tangents.
    """

    lens: Point
    u: float | None
    v: float | None
    across_m_s: float
    size: float | None
    focal_mm: float
    tan_u: float
    tan_v: float

    @property
    def bearing_rad(self) -> float:
        """Bearing of the camera from the subject."""
        return bearing_rad(self.lens[0] - self.eyes[0], self.lens[2] - self.eyes[2])

    @property
    def elevation_rad(self) -> float:
        """Angle of the lens over the eye line, positive above."""
        x, y, z = (c - e for c, e in zip(self.lens, self.eyes, strict=True))
        return float(atan2(y, hypot(x, z)))

    @property
    def height_m(self) -> float:
        """Height of the lens over the ground that the subject stands on."""
        return self.lens[1] - self.place[1]

    @property
    def scale(self) -> float | None:
        """Frame heights that the whole stature would take, to compare sizes by."""
        return None if self.size is None else self.size / self.share

    def plain(self) -> dict[str, Any]:
        """Return the end as values that JSON carries without loss."""
        return {name: getattr(self, name) for name in _FIELDS}

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> "CutEnd":
        """Return the end that `plain` gave, through JSON or not."""
        known = {name: values[name] for name in _FIELDS}
        for name in ("place", "eyes", "velocity", "lens"):
            known[name] = tuple(known[name])
        known["framed"] = tuple(known["framed"])
        known["others"] = tuple(tuple(other) for other in known["others"])
        return cls(**known)


_FIELDS = tuple(field.name for field in fields(CutEnd))


class EndView(NamedTuple):
    """Of an end, what a choice asks of the camera; see `CutEnd`.

    The action is the same in all setups of a shot, but for the span of the body where
    its size is open, and a choice reads tens of thousands of them.
    """

    lens: Point
    u: float | None
    v: float | None
    size: float | None
    share: float
    focal_mm: float

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> "EndView":
        """Return the view of the end that `CutEnd.plain` gave."""
        return cls(*_VIEWED(values))


_VIEWED = itemgetter(*EndView._fields)


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotEnds:
    """How an operated shot begins and ends, and whom it shows.

    `people` has everybody in the action; empty where their frames were not looked at.
    """

    first: CutEnd
    last: CutEnd
    people: tuple[Appearance, ...] = ()

    def plain(self) -> dict[str, Any]:
        """Return the ends as values that JSON carries without loss."""
        return {
            "first": self.first.plain(),
            "last": self.last.plain(),
            "people": [list(one) for one in self.people],
        }

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> "ShotEnds":
        """Return the ends that `plain` gave."""
        return cls(
            first=CutEnd.from_plain(values["first"]),
            last=CutEnd.from_plain(values["last"]),
            people=tuple(Appearance(*one) for one in values["people"]),
        )


def shot_ends(take: Take, table: FrameTable | None = None) -> ShotEnds:
    """Return the ends of a take's cut.

    Args:
        take: operated.
        table: what its frames show of everybody, where it is known already.
    """
    shot = take.shot
    known = cut_action(shot)
    shown = frames_of_take(take) if table is None else table

    def end(at_cut: ActionAtCut) -> CutEnd:
        frames = at_cut.frame - shot.first + shot.handles[0]
        k = frames * shot.samples_per_frame
        camera = (*take.base[k].tolist(), float(take.pan[k, 0]))
        screen = (float(take.u[k]), float(take.v[k]), float(take.size[k]))
        return _end(at_cut, shot.gate, shot.lens, camera, screen)

    return ShotEnds(
        first=end(known.first),
        last=end(known.last),
        people=appearances(shown),
    )


def trial_ends(
    shot: Shot, lens: Lens, action: CutAction, cams: FloatArray, screen: FloatArray
) -> ShotEnds:
    """Return the ends of a shot from the frames of its cut.

    Args:
        shot: however it is set up.
        lens: that it is seen through.
        action: of the shot.
        cams: lens place x, y, z and pan a frame, (n_frames, 4 or more) [m, rad].
        screen: u, v and size of the primary a frame, (n_frames, 3), NaN while hidden.
    """

    def end(at_cut: ActionAtCut) -> CutEnd:
        k = at_cut.frame - shot.first
        x, y, z, pan = cams[k, :4].tolist()
        u, v, size = screen[k].tolist()
        return _end(at_cut, shot.gate, lens, (x, y, z, pan), (u, v, size))

    return ShotEnds(first=end(action.first), last=end(action.last))


def _end(
    at_cut: ActionAtCut,
    gate: Gate,
    lens: Lens,
    camera: tuple[float, float, float, float],
    screen: tuple[float, float, float],
) -> CutEnd:
    x, y, z, pan = camera
    u, v, size = screen
    seen = isfinite(u) and isfinite(v)
    tan_u, tan_v = gate.half_tangents(lens.focal_mm)
    velocity = at_cut.velocity
    return CutEnd(
        frame=at_cut.frame,
        time_s=at_cut.time_s,
        subject=at_cut.subject,
        place=at_cut.place,
        eyes=at_cut.eyes,
        velocity=velocity,
        line=at_cut.line,
        line_rad=at_cut.line_rad,
        facing_rad=at_cut.facing_rad,
        framed=at_cut.framed,
        span=at_cut.span,
        share=at_cut.share,
        stature_m=at_cut.stature_m,
        others=at_cut.others,
        lens=(x, y, z),
        u=u if seen else None,
        v=v if seen else None,
        across_m_s=velocity[0] * cos(pan) - velocity[2] * sin(pan),
        size=size if seen and isfinite(size) else None,
        focal_mm=lens.focal_mm,
        tan_u=tan_u,
        tan_v=tan_v,
    )


def direction_of(end: CutEnd) -> FloatArray:
    """Return the unit vector from the subject's eyes to the lens, (3,)."""
    away = np.array(end.lens) - np.array(end.eyes)
    unit: FloatArray = away / max(float(np.linalg.norm(away)), 1e-9)
    return unit
