"""What a camera of an action shows at each of its frames, as a cut of it is judged.

The same quantities as of the ends of a shot (`cuts.end`), at every frame at once, since
a cut may fall on any. All are of the finished take; nothing of it is changed here.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..action.framing import framing_at, primary_of
from ..action.subject import Subject
from ..arrays import BoolArray, FloatArray, IntArray
from ..claims.everyone import FrameTable, frames_of_take
from ..cuts.at_cut import WALKING_M_S, velocities
from ..cuts.cost import EndSights, side_codes
from ..cuts.lines import MOST_PEOPLE, PAIR_M
from ..shot import Shot
from ..take import Take

SETTLED_RAD_S = float(np.radians(2.0))
"""A pan that turns faster has not settled (our choice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pictures:
    """What one camera shows at the n frames of an action, of p people.

    Attributes:
        name: of the camera.
        people: names, in the order of the action.
        rate: frames a second.
        aspect: width over height of the frame.
        sights: of whom it follows, as ends of a shot, (n,) a quantity.
        subject: who is followed, index of `people`, (n,).
        framed: who has a weight in the framing, (p, n).
        slow: who is slower than a walk, (p, n).
        shown: whose head is in the picture, whole and not hidden, (p, n).
        followed: whether the head of whom it follows is held, and not hidden, (n,).
        figure: whole figure of whom it follows, a share of the frame height, (n,);
            NaN where it reaches behind the lens.
        away: how far whom it follows is turned away: 0 faces the lens, 1 shows the
            back, (n,); NaN where it is not known.
        moving: whether the pan turns and the person it follows does not walk, (n,).
        sides: side codes of each line of action, 0 where there is none, by whose it
            is, (n,); bearings: of those lines [rad].
        table: what the frames show of everybody.
        view: family of the setup's view; "" where it has none.
    """

    name: str
    people: tuple[str, ...]
    rate: float
    aspect: float
    sights: EndSights
    subject: IntArray
    framed: BoolArray
    slow: BoolArray
    shown: BoolArray
    followed: BoolArray
    figure: FloatArray
    away: FloatArray
    moving: BoolArray
    sides: dict[str, IntArray]
    bearings: dict[str, FloatArray]
    table: FrameTable
    view: str = ""

    @property
    def n_frames(self) -> int:
        """Frames of the action."""
        return len(self.subject)


def pictures_of(take: Take, name: str, view: str = "") -> Pictures:
    """Return what the frames of a take's cut show.

    Args:
        take: of a camera over the whole action.
        name: of the camera.
        view: family of its view.
    """
    shot, table = take.shot, frames_of_take(take)
    rows = np.flatnonzero((take.sub == 0) & ~take.handle)
    people, frame = shot.subjects, take.frame[rows]
    times = shot.times_of(frame.astype(np.float64))
    framing = framing_at(shot.framings, times)
    subject = primary_of(shot.framings)[framing]
    n = np.arange(len(rows))
    lens, eyes = take.base[rows], table.blocking.eyes[subject, n]
    toward = lens - eyes
    far = np.sqrt((toward**2).sum(axis=1, keepdims=True))
    u, v, size = take.u[rows], take.v[rows], take.size[rows]
    seen = np.isfinite(u) & np.isfinite(v)
    spans = np.array([one.top - one.bottom for one in shot.framings])
    velocity = np.stack([velocities(one, times) for one in people])
    speed = np.sqrt((velocity**2).sum(axis=2))
    hidden = table.hidden[subject, n]
    tan_u, tan_v = shot.tangents
    sides, bearings = _lines(shot, subject, lens, velocity, table.blocking.floor)
    turning = np.abs(take.pan[rows, 1]) > SETTLED_RAD_S
    return Pictures(
        name=name,
        people=tuple(one.name for one in people),
        rate=float(shot.rate),
        aspect=tan_u / tan_v,
        sights=EndSights(
            toward=toward / np.maximum(far, 1e-9),
            u=np.where(seen, u, np.nan),
            v=np.where(seen, v, np.nan),
            scale=np.where(seen & np.isfinite(size), size, np.nan) / spans[framing],
            focal_mm=np.full(len(rows), shot.lens.focal_mm),
            height_m=lens[:, 1],
            elevation_rad=np.arctan2(
                toward[:, 1], np.hypot(toward[:, 0], toward[:, 2])
            ),
        ),
        subject=subject,
        framed=np.array([one.weights for one in shot.framings]).T[:, framing] > 0,
        slow=speed < WALKING_M_S,
        shown=table.shown,
        followed=take.head_held[rows] & ~hidden,
        figure=table.figure[subject, n],
        away=_turned_away(people, subject, times, toward, velocity),
        moving=turning & (speed[subject, n] < WALKING_M_S),
        sides=sides,
        bearings=bearings,
        table=table,
        view=view,
    )


def _turned_away(
    people: tuple[Subject, ...],
    subject: IntArray,
    times: FloatArray,
    toward: FloatArray,
    velocity: FloatArray,
) -> FloatArray:
    """Return how far who is followed is turned away from the lens, (n,).

    Who walks and whose gaze is not known looks where they go.

    Args:
        people: of the action.
        subject: who is followed, (n,).
        times: of the frames, (n,) [s].
        toward: from the eyes to the lens, (n, 3) [m].
        velocity: of everybody, (p, n, 3) [m/s].
    """
    away = np.full(len(times), np.nan)
    for k, one in enumerate(people):
        mine = subject == k
        at = np.searchsorted(one.times_s, times[mine] + 1e-9, "right") - 1
        facing = one.facing_rad[np.maximum(at, 0)]
        x, z = velocity[k, mine, 0], velocity[k, mine, 2]
        goes = np.where(np.hypot(x, z) >= WALKING_M_S, np.arctan2(-x, -z), np.nan)
        looks = np.where(np.isfinite(facing), facing, goes)
        to_lens = np.arctan2(-toward[mine, 0], -toward[mine, 2])
        away[mine] = (1.0 - np.cos(looks - to_lens)) / 2
    return away


def _lines(
    shot: Shot,
    subject: IntArray,
    lens: FloatArray,
    velocity: FloatArray,
    floor: FloatArray,
) -> tuple[dict[str, IntArray], dict[str, FloatArray]]:
    """Return the sides of all lines of action and their bearings, (n,) each.

    As `cuts.lines` has them: those of pairs; of one person alone the own line, along
    the travel, else the last travel, else the gaze.
    """
    n = len(subject)
    names = [one.name for one in shot.subjects]
    if len(names) == 1:
        return _own_line(shot.subjects[0], lens, velocity[0], floor[0])
    sides, bearings = {}, {}
    for j, k in combinations(sorted(range(len(names)), key=lambda j: names[j]), 2):
        between = floor[k] - floor[j]
        middle = (floor[j] + floor[k])[:, ::2] / 2
        place = np.where((subject == j)[:, None], floor[j][:, ::2], middle)
        place = np.where((subject == k)[:, None], floor[k][:, ::2], place)
        bearing = np.arctan2(-between[:, 0], -between[:, 2])
        apart = np.hypot(between[:, 0], between[:, 2]) >= PAIR_M
        known = apart & _among_first(subject, j) & _among_first(subject, k)
        of = f"{names[j]}|{names[k]}"
        sides[of] = np.where(known, side_codes(lens, place, bearing), 0)
        bearings[of] = bearing
    assert all(len(one) == n for one in sides.values())
    return sides, bearings


def _among_first(subject: IntArray, k: int) -> BoolArray:
    """Return where somebody is among those of a crowd who have lines, (n,)."""
    place = k - (k > subject)
    among: BoolArray = (subject == k) | (place < MOST_PEOPLE - 1)
    return among


def _own_line(
    person: Subject, lens: FloatArray, velocity: FloatArray, floor: FloatArray
) -> tuple[dict[str, IntArray], dict[str, FloatArray]]:
    """Return the side of somebody's own line, and its bearing, (n,) each."""
    n = len(lens)
    x, z = velocity[:, 0], velocity[:, 2]
    moving = np.hypot(x, z) >= WALKING_M_S
    last = np.maximum.accumulate(np.where(moving, np.arange(n), -1))
    travel = np.arctan2(-x, -z)[np.maximum(last, 0)]
    bearing = np.where(last >= 0, travel, np.nan)
    sides = side_codes(lens, floor[:, ::2], np.nan_to_num(bearing))
    known = np.where(np.isfinite(bearing), sides, 0)
    return {person.name: known}, {person.name: bearing}
