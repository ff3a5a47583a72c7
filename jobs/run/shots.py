"""From a shot of the job file to the shot that the solver operates.

Units and axes change here and nowhere else on the way in: scene units to metres, the
scene's up axis to Y up, degrees to radians, names to numbers.
"""

import hashlib
from dataclasses import dataclass, replace
from math import nan, radians
from pathlib import Path
from typing import Any, Self

import numpy as np

from ...solver.action.body import (
    EYES,
    aim_fraction,
    aim_height_in_frame,
    framing_distance_m,
    span_of,
)
from ...solver.action.framing import Framing
from ...solver.action.subject import Subject
from ...solver.arrays import FloatArray
from ...solver.errors import SolverError
from ...solver.optics.lens import Lens
from ...solver.presets import PRESETS, Crew, Member
from ...solver.rigs.shape import Rig
from ...solver.shake import LEVELS, ShakeLevel
from ...solver.shot import Shot
from ..errors import Fault, ShotDataError
from ..job.crew import ChannelSpec, CrewSpec
from ..job.framing import FramingSpec
from ..job.rig import DollyRig, rig_of
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.world import WorldSpec
from ..subjects import SubjectReader, read_subject
from ..subjects.checks import MAX_COORDINATE_M
from ..takes.keys import SET_INPUT
from .claims import claims_of
from .sets import set_round
from .stage import stage_of
from .tracks import seen_tracks

HELD_CROWN_V = 0.95  # where a place was asked: as far up as a crown may come

VIEWS_DEG = {"front": 0.0, "three_quarter": 45.0, "profile": 90.0, "rear": 180.0}
THROUGH_CAMERA_M = 0.3


Spans = tuple[tuple[int, int], ...]
"""First and last frame of stretches, inclusive."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Prepared:
    """A shot read, checked and ready: the solver's shot, its spec, its inputs.

    `inputs` maps subject names to the SHA-256 of the bytes read for them, and
    `SET_INPUT` to that of the set where there is one; `uncovered` maps subject names
    to the frames that their tables do not reach: first and last, inclusive.
    """

    shot: Shot
    spec: ShotSpec
    inputs: dict[str, str]
    uncovered: dict[str, Spans]

    def of_take(self, job: JobFile, take: int) -> Self:
        """Return the same shot, to be performed as the take of a number."""
        seed = seed_of(job, self.spec.name, take)
        spec = self.spec.model_copy(update={"take": take})
        return replace(self, shot=replace(self.shot, seed=seed), spec=spec)


def prepare(
    job: JobFile,
    spec: ShotSpec,
    folder: Path,
    *,
    read: SubjectReader = read_subject,
) -> Prepared:
    """Read a shot's subjects and build the solver's shot.

    Args:
        job: the validated job.
        spec: one of its shots.
        folder: where the job file lies; subject files are found from there.
        read: how subjects are read.

    Raises:
        ShotDataError: the shot's data can't be used; every fault is named.
    """
    path = job.path_of(spec.name)
    if spec.is_open:
        left = ", ".join(sorted(spec.open_fields))
        fault = Fault(path=path, message=f"no setup was chosen yet, {left} left open")
        raise ShotDataError(spec.name, (fault,))
    prepared = build_shot(job, spec, folder, read=read)
    shot = prepared.shot
    faults = _far_rig(shot, path)
    if not faults:
        faults = [*_slow_rate(shot, path), *_through_camera(shot, path)]
    if faults:
        raise ShotDataError(spec.name, tuple(faults))
    return prepared


def build_shot(
    job: JobFile,
    spec: ShotSpec,
    folder: Path,
    *,
    read: SubjectReader = read_subject,
) -> Prepared:
    """Return a shot whose setup may not give the picture; see `prepare`.

    Raises:
        ShotDataError: a subject can't be read; every fault is named.
    """
    path = job.path_of(spec.name)
    entries = seen_tracks(job, spec, folder, path, read)
    baked = set_round(spec, folder, path, read, [one for one, _ in entries])
    tracks = [one for one, _ in entries]
    subjects = tuple(
        Subject(
            name=one.name,
            times_s=one.times_s,
            floor=one.floor,
            eyes=one.eyes,
            facing_rad=one.facing_rad,
            fresh=one.new,
            visible=one.visible,
            height_m=one.height_m,
            share=ask.share,
            must_hold=ask.must_hold,
        )
        for one, ask in entries
    )
    lens = spec.camera.lens(spec.fixed_lens_mm)
    try:
        rigged = rig_fields(spec, job.world)
    except SolverError as error:
        fault = Fault(path=f"{path}.rig", message=str(error))
        raise ShotDataError(spec.name, (fault,)) from error
    shot = Shot(
        name=spec.name,
        rate=job.rate,
        first=spec.frames[0],
        last=spec.frames[1],
        handles=spec.handles,
        samples_per_frame=spec.samples_per_frame,
        gate=spec.camera.gate,
        lens=Lens(lens.mm, lens.close_focus_m, lens.widest_stop),
        stop=spec.camera.stop,
        coc_mm=spec.camera.coc_mm,
        roll_rad=radians(spec.roll_deg),
        view_rad=_view(spec, rigged["rig"], subjects),
        crew=crew_of(spec.crew),
        subjects=subjects,
        framings=framings_of(job, spec, subjects),
        shake=_shake(spec),
        seed=seed_of(job, spec.name, spec.take or 1),
        stage=stage_of(spec, job.world, mesh=None if baked is None else baked.mesh),
        claims=claims_of(spec, job.world),
        **rigged,
    )
    inputs = {one.name: one.digest for one in tracks}
    if baked is not None:
        inputs[SET_INPUT] = baked.digest
    uncovered = {one.name: one.uncovered for one in tracks if one.uncovered}
    return Prepared(shot=shot, spec=spec, inputs=inputs, uncovered=uncovered)


def rig_fields(spec: ShotSpec, world: WorldSpec) -> dict[str, Any]:
    """Return the fields of a shot that its rig gives.

    Raises:
        SolverError: a rail shorter than a millimetre.
    """
    rig = spec.fixed_rig
    placed = rig_of(rig, world, spec.fixed_height)
    if not isinstance(rig, DollyRig):
        return {"rig": placed}
    return {
        "rig": placed,
        "hold": rig.hold,
        "side_offset": tuple(world.inside(np.array([rig.beside]))[0].tolist()),
        "follow": rig.follow,
    }


def _view(spec: ShotSpec, rig: Rig, subjects: tuple[Subject, ...]) -> float:
    """Return the camera's bearing from the subject's travel [rad], left positive."""
    if spec.view is None:
        return 0.0
    degrees = VIEWS_DEG[spec.view] if isinstance(spec.view, str) else spec.view
    if spec.side is not None:
        return radians(degrees if spec.side == "left" else -degrees)
    lead = max(subjects, key=lambda s: s.share)
    travel = lead.floor[-1] - lead.floor[0]
    middle = rig.places(np.array([rig.length_m / 2]))[0] - lead.floor.mean(axis=0)
    left = travel[2] * middle[0] - travel[0] * middle[2] > 0
    return radians(degrees if left else -degrees)


def _member(base: Member, asked: ChannelSpec, angular: float) -> Member:
    """Return a preset's member with the job's numbers; `angular` scales limits."""
    changes = {
        "reaction_s": asked.reaction_s,
        "rest_s": asked.rest_s,
        "tolerance": asked.tolerance,
        "bandwidth_rad_s": asked.bandwidth_rad_s,
        "fade_s": asked.fade_s,
        "stiffness_rad_s": asked.stiffness_rad_s,
        "speed_weight_s2": asked.velocity_weight_s2,
    }
    for name in ("max_speed", "max_accel", "max_jerk"):
        value = getattr(asked, name)
        changes[name] = None if value is None else value * angular
    return replace(base, **{k: v for k, v in changes.items() if v is not None})


def crew_of(asked: CrewSpec) -> Crew:
    """Return the preset's crew with every number that the job replaces."""
    base = PRESETS[asked.base]
    return Crew(
        operator=_member(base.operator, asked.operator, radians(1)),
        grip=_member(base.grip, asked.grip, 1.0),
        puller=_member(base.puller, asked.puller, 1.0),
        focus_method=asked.puller.method,
        variability=asked.variability,
        preset=asked.name,
    )


def framings_of(
    job: JobFile, spec: ShotSpec, subjects: tuple[Subject, ...]
) -> tuple[Framing, ...]:
    """Return the shot's own framing and one more for each cue."""
    ty = spec.camera.gate.half_tangents(spec.fixed_lens_mm)[1]
    names = [s.name for s in subjects]
    weights = tuple(s.share for s in subjects)
    size = spec.framing.asked_size
    gate = spec.camera.gate
    framings = [_framing(spec.framing, size, weights, subjects, ty, gate.axis_v)]
    for cue in spec.cues:
        size = size if cue.asked_size is None else cue.asked_size
        if cue.subject is not None:
            chosen = names.index(cue.subject)
            weights = tuple(float(k == chosen) for k in range(len(names)))
        framing = _framing(spec.framing, size, weights, subjects, ty, gate.axis_v)
        start = cue.frame * job.rate.denominator / job.rate.numerator
        framings.append(replace(framing, start_s=start, whip=cue.how == "whip"))
    return tuple(framings)


def _framing(
    asked: FramingSpec,
    size: str | float,
    weights: tuple[float, ...],
    subjects: tuple[Subject, ...],
    ty: float,
    axis_v: float,
) -> Framing:
    span = span_of(size)
    height = subjects[int(np.argmax(weights))].height_m
    u, v = 0.0, aim_height_in_frame(size, asked.headroom)
    crown = 1.0 - 2.0 * asked.headroom
    if asked.place is not None:
        # Who asks for a place gets it, but nobody's head leaves the frame.
        (u, v), crown = asked.place, HELD_CROWN_V
    return Framing(
        start_s=-np.inf,
        top=span.top,
        bottom=span.bottom,
        aim=aim_fraction(size) / EYES,
        u=u,
        v=v - axis_v,
        lead_room=asked.lead_room,
        look_room=asked.look_room,
        distance_m=framing_distance_m(size, height, asked.headroom, ty),
        weights=weights,
        crown_v=crown - axis_v if span.top == 1.0 else nan,
        angle=asked.angle,
    )


def _shake(spec: ShotSpec) -> ShakeLevel:
    level = LEVELS[spec.shake.level]
    changes: dict[str, object] = {}
    if spec.shake.percent is not None:
        changes.update(percent=spec.shake.percent, degrees=None)
    if spec.shake.degrees is not None:
        changes["degrees"] = spec.shake.degrees
    if spec.shake.band_hz is not None:
        changes["band_hz"] = spec.shake.band_hz
    return replace(level, **changes)  # type: ignore[arg-type]


def seed_of(job: JobFile, shot: str, take: int = 1) -> int:
    """Return a take's seed: from the job's, the names of sequence and shot, its number.

    The first take's is the shot's own.
    """
    text = f"{job.seed}/{job.sequence}/{shot}"
    if take > 1:
        text += f"/take {take}"
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:6], "big")


def _far_rig(shot: Shot, path: str) -> list[Fault]:
    """Name a rig that is further out than a subject may be."""
    ends = shot.rig.places(np.array([0.0, shot.rig.length_m / 2, shot.rig.length_m]))
    if np.abs(ends).max() <= MAX_COORDINATE_M:  # false where it is not a number
        return []
    limit = f"{MAX_COORDINATE_M / 1000.0:.0f} km"
    message = f"stands more than {limit} from the origin of the scene"
    return [Fault(path=f"{path}.rig", message=message)]


def _slow_rate(shot: Shot, path: str) -> list[Fault]:
    """Name a level of shake that the frame rate can't carry."""
    least, rate = shot.shake.lowest_rate_hz, float(shot.rate)
    if shot.shake.angle_rad(shot.lens.focal_mm, shot.gate) == 0 or rate >= least:
        return []
    message = (
        f"{shot.shake.name} reaches {shot.shake.band_hz[1]:g} Hz and needs at least "
        f"{least:.1f} frames a second, the job has {rate:g}"
    )
    return [Fault(path=f"{path}.shake", message=message)]


def _gap(shot: Shot, subject: Subject) -> FloatArray:
    """Return distances lens on sticks to body, a line floor to crown, (n,) [m]."""
    feet = subject.floor[subject.fresh]
    crown = feet + (subject.eyes[subject.fresh] - feet) / EYES
    lens = shot.rig.places(np.zeros(1))[0]
    along = np.clip(lens[1], feet[:, 1], crown[:, 1])
    flat = np.hypot(feet[:, 0] - lens[0], feet[:, 2] - lens[2])
    gap: FloatArray = np.hypot(flat, lens[1] - along)
    return gap


def _through_camera(shot: Shot, path: str) -> list[Fault]:
    """Name a subject whose path meets a lens on sticks."""
    if shot.rig.length_m > 0:
        return []
    faults = []
    for k, subject in enumerate(shot.subjects):
        gap = _gap(shot, subject)
        if gap.min() < THROUGH_CAMERA_M:
            time = subject.times_s[subject.fresh][int(gap.argmin())]
            frame = round(float(time * shot.rate))
            message = (
                f"{subject.name} passes {gap.min():.2f} m from the lens at frame "
                f"{frame}, must keep {THROUGH_CAMERA_M:g} m"
            )
            faults.append(Fault(path=f"{path}.subjects[{k}]", message=message))
    return faults
