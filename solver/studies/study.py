"""One camera studied against its subject: every measure, and how it was made.

What explains a camera is the plainest thing that leaves nothing slow: exact aim, a lag,
a smoothing of the whole shot, then a crew. "Slow" is what a Gaussian of half a second
leaves of the difference: shake and noise are not what a way of following is judged by.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ..action.body import span_of
from ..action.framing import Framing
from ..action.subject import Subject
from ..arrays import FloatArray
from ..presets import PRESETS, Crew, Member
from .camera import CameraMove
from .carried import carried
from .fast import follows_fast
from .fit import fit_crew, synced
from .follow import (
    REACH,
    SLOW_S,
    DollyWay,
    Rails,
    centred_aim,
    explained,
    plain_ways,
    slow_of,
)
from .framing import Framed, LensUse, study_framing, study_lens
from .lag import Lag, measure_lag
from .level import LEAST_RATE_HZ, find_level
from .limits import Peaks, study_limits
from .looked import LASTS_S, AimPoint, looked_at
from .path import StudiedPath, along_path, study_path
from .search import Found
from .shake import (
    BY_CREW,
    BY_PARTED_CREW,
    BY_PLAIN_WAY,
    LEAST_S,
    ShakeFound,
    study_shake,
)

# Half frames of slow difference that a plain way may leave: at least so much, so many
# times what the noise leaves, and this share of the shake on it.
EXACT, NOISES, SHAKES = 0.0006, 1.5, 0.15
LIKE = 1.03  # times what another way leaves: with so much exact aim comes first
NEARLY = 2.0  # times what noise and shake explain: it may be a plain way's
NOT_WHITE = 3.0  # times the noise
SURE = 9.0  # of twice the log likelihood that sets one way over another
# Shares of the slow departure's power that the nearest crew explains: of made crews at
# least the first, of cameras that no crew made at most the second. Between them, and
# where the departure is small, nothing is certain.
EXPLAINED, UNEXPLAINED = 0.8, 0.3
# Half frames of slow departure that tell nothing against a crew, at least, and times
# what shake and noise leave.
SMALL, SMALLER = 0.005, 4.0
STILL = 0.01  # half frames of slow motion that counts as none
FOLLOWS = 0.5  # share of the motion that exact aim has to explain
LEAST_FIT_S = 3.0

RIGID, LAGGED, SMOOTHED = "rigid aim", "low-pass lag", "whole-shot smoothing"
CREW, NOT_FOLLOWING = "followed by a crew", "not made by following"
CARRIED = "carried by its subject"
HELD, UNCLEAR = "held still", "followed, by a crew or by hand"


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """How a camera was made.

    Attributes:
        kind: one of the names above.
        seconds: of rigid aim, its delay (negative: early); of a lag, its time
            constant; of a smoothing, the Gaussian's width; None otherwise.
        ahead_s: how far it reads ahead: a smoothing's width times 1.64, beyond which
            5 % of its weight lies; an early aim's lead; 0 for others.
        left: slow difference that the kind leaves, half frames r.m.s.
        departure: slow difference that exact aim leaves.
        why: what the kind was judged by, in one clause.
        late_s: of a lag, the delay besides its time constant.
        allowed: slow difference that noise and shake explain, half frames.
        plainest: slow difference that the nearest plain way leaves.
        likewise: kinds that explain it as well: the subject asks for too little, or
            the noise is too much, to tell them apart.
    """

    kind: str
    seconds: float | None
    ahead_s: float
    left: float
    departure: float
    why: str
    late_s: float = 0.0
    allowed: float = EXACT
    plainest: float = np.inf
    likewise: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Study:
    """All that was measured of one camera."""

    camera: CameraMove
    framed: Framed
    lens: LensUse
    path: StudiedPath
    lag: Lag
    limits: dict[str, Peaks]
    shake: ShakeFound
    look: AimPoint
    ways: tuple[DollyWay, ...]
    verdict: Verdict
    operator: Found | None
    grip: Found | None
    tick_rate: Fraction | None

    def member(self, channel: str) -> Member | None:
        """Return the fitted operator or grip as a member of a crew."""
        found = self.operator if channel == "operator" else self.grip
        if found is None:
            return None
        crew = PRESETS[found.trial.preset]
        base = crew.operator if channel == "operator" else crew.grip
        own = {
            name: one.value
            for name, one in found.ranges.items()
            if name in Member.__dataclass_fields__
        }
        return replace(base, **own)


def study(
    camera: CameraMove,
    subject: Subject,
    *,
    rate: Fraction,
    kit_mm: tuple[float, ...] = (),
    size: str | None = None,
    crew: Crew | None = None,
    fit: bool = False,
    seed: int = 0,
) -> Study:
    """Study a camera against its subject.

    Args:
        camera: what was moved.
        subject: whom it shows, over the same time.
        rate: the camera's frames a second.
        kit_mm: lenses that there are [mm]; empty if any is allowed.
        size: named size, where it is known.
        crew: whose limits speed, acceleration and jerk are held against; `sharp`.
        fit: look for a crew that explains the camera; takes a second or two.
        seed: of that search.
    """
    framed = study_framing(camera, subject, size)
    path = study_path(camera, framed.distance_m)
    points = subject.at(camera.times_s, framed.aim)
    rails = _rails(path, points, framed, camera)
    ways = plain_ways(camera, subject, framed.aim, rails)
    look = min(ways, key=lambda way: way.miss).look
    wanted, look = centred_aim(camera, points, camera.place, look)
    verdict, angles = _plain_verdict(
        camera, wanted, ways, rails, carried(camera, path, points)
    )
    lag = measure_lag(camera, wanted, camera.angle_noise)
    operator = grip = None
    tick_rate = None
    if fit and verdict.kind == UNCLEAR and camera.seconds < LEAST_FIT_S:
        why = f"shorter than {LEAST_FIT_S:g} s: no crew is looked for"
        verdict = replace(verdict, why=why)
    elif fit and verdict.kind == UNCLEAR:
        tick_rate = rate
        operator, grip = fit_crew(
            camera,
            looked_at(camera, subject, look),
            path,
            _framing(framed, look.u, look.v),
            rate,
            verdict.departure,
            seed,
        )
        verdict = _crew_verdict(camera, verdict, operator, lag)
        if verdict.kind == CREW:
            angles = operator.curves
    n = angles.shape[1]
    explained = verdict.kind not in (UNCLEAR, NOT_FOLLOWING)
    left = camera.angles[:, :n] - angles if explained else None
    by = BY_PLAIN_WAY
    if verdict.kind == CREW and operator is not None:
        by = BY_CREW if synced(operator) else BY_PARTED_CREW
    shake = study_shake(camera, left, by=by)
    fast = camera.angle_noise
    return Study(
        camera=camera,
        framed=framed,
        lens=study_lens(camera, kit_mm),
        path=path,
        lag=lag,
        limits=study_limits(
            camera, path.rail, fast, path.wobble_m, crew or PRESETS["sharp"]
        ),
        shake=shake,
        look=look,
        ways=tuple(ways),
        verdict=verdict,
        operator=operator,
        grip=grip,
        tick_rate=tick_rate,
    )


def _rails(
    path: StudiedPath, points: FloatArray, framed: Framed, camera: CameraMove
) -> Rails | None:
    feet = along_path(path, points)
    if feet is None or path.rig is None:
        return None
    return Rails(
        feet=feet,
        rail=path.rail,
        places=path.rig.places,
        scale_m=framed.distance_m * camera.tangents[0],
    )


def _left(camera: CameraMove, way: DollyWay) -> float:
    """Return the slow difference that a way leaves, its dolly included."""
    return float(np.hypot(slow_of(camera, way.angles), way.off_rail or 0.0))


def alike_within(camera: CameraMove, miss: float) -> float:
    """Return the factor of what ways leave within which they explain a camera alike.

    Args:
        camera: what was moved.
        miss: r.m.s. that the better one leaves, half frames: shake where it is more
            than the noise, and then few of the samples tell anything new.
    """
    white = miss < NOT_WHITE * camera.angle_noise
    alike = 1.0 if white else LASTS_S * camera.rate_hz
    return 1.0 + SURE * alike / (4.0 * len(camera.times_s))


def allowed_of(camera: CameraMove, angles: FloatArray) -> float:
    """Return the slow difference that noise and shake explain, half frames r.m.s.

    Args:
        camera: what was moved.
        angles: that it is thought to have without them, (2, n) [rad].
    """
    noise = NOISES * camera.angle_noise / np.sqrt(2 * SLOW_S * camera.rate_hz)
    if camera.rate_hz < LEAST_RATE_HZ or camera.seconds < LEAST_S:
        return float(max(EXACT, noise))
    tx, ty = camera.tangents
    level = find_level(50 / tx * (camera.angles - angles), camera.rate_hz)
    shake = level.percent / 50 * tx / ty if level.present else 0.0
    return float(max(EXACT, noise, SHAKES * shake))


def _plain_verdict(
    camera: CameraMove,
    wanted: FloatArray,
    ways: list[DollyWay],
    rails: Rails | None,
    carried_m: float | None,
) -> tuple[Verdict, FloatArray]:
    """Return the verdict without a crew, and the angles of the best explanation."""
    still = np.repeat(camera.angles.mean(axis=1, keepdims=True), len(camera.pan), 1)
    motion, off = slow_of(camera, still), slow_of(camera, wanted)

    def verdict(kind: str, left: float, why: str, **numbers: float) -> Verdict:
        return Verdict(
            kind=kind,
            seconds=numbers.get("seconds"),
            ahead_s=numbers.get("ahead_s", 0.0),
            late_s=numbers.get("late_s", 0.0),
            left=left,
            departure=off,
            why=why,
        )

    if carried_m is not None:
        angles, left = (still, motion) if motion < off else (wanted, off)
        why = f"it keeps its place beside the subject to {carried_m:.3f} m"
        return verdict(CARRIED, left, why), angles
    if motion < STILL and (rails is None or np.ptp(rails.rail) < STILL * rails.scale_m):
        why = f"pan and tilt move by {motion:.4f} half frames, least {STILL:g}"
        return verdict(HELD, motion, why), still
    # A camera that hardly turns is judged by its dolly as well.
    judged = [
        way
        for way in ways
        if (motion >= STILL or way.off_rail is not None)
        and follows_fast(camera, way.angles)
    ]
    good = [
        (way, left)
        for way, left in ((way, _left(camera, way)) for way in judged)
        if left <= allowed_of(camera, way.angles)
    ]
    step = camera.step_s
    kinds = {"shifted": RIGID, "lagged": LAGGED, "smoothed": SMOOTHED}
    # Exact aim is a lag and a smoothing of nothing: it comes first where it does.
    # What shakes and what is rounded is the same whichever way is the right one, so the
    # ways are told apart by all that they leave.
    good.sort(key=lambda one: one[0].miss / (LIKE if one[0].name == "shifted" else 1))
    if good and good[0][0].name != "shifted" and off <= allowed_of(camera, wanted):
        why = f"it leaves the gait out, but departs by no more than {off:.4f} otherwise"
        return verdict(UNCLEAR, off, why), wanted
    if good:
        way, left = good[0]
        nothing = way.name != "shifted" and way.seconds < step / 2
        if nothing:  # a lag or a smoothing of less than a sample is exact aim
            way = replace(way, name="shifted", seconds=0.0)
        alike = alike_within(camera, way.miss)
        others = {
            kinds[one.name]
            for one, _ in good
            if one.miss <= alike * way.miss
            and (one.name == "shifted" or one.seconds >= step)
        }
        early = max(0.0, -way.seconds) if way.seconds < -step / 2 else 0.0
        verdict_ = verdict(
            kinds[way.name],
            left,
            f"it leaves {left:.4f} half frames, exact aim {off:.4f}",
            seconds=way.seconds,
            late_s=way.late_s,
            ahead_s={"smoothed": REACH * way.seconds}.get(way.name, early),
        )
        like = tuple(sorted(others - {verdict_.kind}))
        return replace(verdict_, likewise=like), way.angles
    if 1 - (off / motion) ** 2 < FOLLOWS:
        why = f"exact aim leaves {off:.3f} of {motion:.3f} half frames of motion"
        return verdict(NOT_FOLLOWING, off, why), wanted
    nearest = min(ways, key=lambda way: way.miss)
    allowed = allowed_of(camera, nearest.angles)
    why = f"no plain way leaves as little as {allowed:.4f} half frames"
    plainest = min(_left(camera, way) for way in ways)
    unclear = verdict(UNCLEAR, off, why)
    return replace(unclear, allowed=allowed, plainest=plainest), wanted


def _crew_verdict(
    camera: CameraMove, plain: Verdict, found: Found, lag: Lag
) -> Verdict:
    left = slow_of(camera, found.curves)
    share = explained(camera, found.curves, plain.departure)
    crew = share >= EXPLAINED
    small = max(SMALL, SMALLER * plain.allowed)
    little = plain.departure < small or plain.plainest < NEARLY * plain.allowed
    if not crew and (share >= UNEXPLAINED or little):
        why = (
            f"the nearest crew explains {100 * max(share, 0.0):.0f} % of its departure "
            f"from exact aim, {plain.departure:.4f} half frames: too little to tell"
        )
        return replace(plain, why=why)
    told = lag.correlation.value is not None or share <= 0.0
    if not crew and not told and lag.correlation.why:
        why = f"no crew explains it, but it tells too little: {lag.correlation.why}"
        return replace(plain, why=why)
    verb = "explains" if crew else "explains only"
    return Verdict(
        kind=CREW if crew else NOT_FOLLOWING,
        seconds=found.ranges["reaction_s"].value if crew else None,
        ahead_s=0.0,
        left=left if crew else plain.departure,
        departure=plain.departure,
        why=f"the nearest crew {verb} {100 * max(share, 0.0):.0f} % of how it departs "
        f"from exact aim, least {100 * EXPLAINED:.0f} %",
    )


def _framing(framed: Framed, u: float, v: float) -> Framing:
    span = span_of(framed.size)
    return Framing(
        start_s=-np.inf,
        top=span.top,
        bottom=span.bottom,
        aim=framed.aim,
        u=u,
        v=v,
        lead_room=0.0,
        look_room=0.0,
        distance_m=framed.distance_m,
        weights=(1.0,),
    )
