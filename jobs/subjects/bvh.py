"""A joint of a BVH file: its place in the world, sample by sample.

A BVH file holds a tree of joints, each with an OFFSET from its parent and a list of
channels, then one line of channel values a sample. The place of a joint is found
down the tree from the root:

    place = parent place + parent turn @ local,   turn = parent turn @ own turn

`local` is the OFFSET; position channels take its place, axis by axis, and are not
added to it. Where the OFFSET of the root is zero both readings agree; some exporters
repeat the first pose in it, or write position channels for every joint, and there a
sum would count it twice. `own turn` is the product of the rotations in the order in
which the channels are listed, angles in degrees.

The format has no unit of length and no up axis: the job says them.
"""

import difflib
from fractions import Fraction

import numpy as np

from ...solver.arrays import FloatArray
from ..errors import Fault
from ..job.world import inside_from_scene
from .bvh_tree import ROOT, BvhMotion, Joint, parse_bvh, refuse_bvh
from .faults import refuse_any
from .reference import SubjectReference
from .samples import SubjectSamples, frames_a_sample
from .source import Source

METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}

RATE_TOLERANCE = 1e-4  # a tenth of what 24 and 24000/1001 are apart
STATIC = 1e-6  # file units; what moves less does not move


def samples_of_bvh(
    source: Source, reference: SubjectReference, *, job_rate: Fraction, path: str
) -> SubjectSamples:
    """Return the place of the reference's joint on frames of the shot.

    Sample k falls on frame `first_sample_at` + k x job rate / file rate, both rates
    by their nominal value (`frames_a_sample`).

    Raises:
        SubjectError: the reference does not say unit, up axis and first frame; the
            file is not BVH; it has no such joint; its root does not move and no
            joint is named; its rate is none, and the reference gives none.
    """
    units, up, first = reference.units, reference.up, reference.first_sample_at
    if units is None or up is None or first is None:
        asked = {
            "units": (units, "the unit of length"),
            "up": (up, "the up axis"),
            "first_sample_at": (first, "the shot's frame of the first sample"),
        }
        refuse_any(
            Fault(path=f"{path}.{name}", message=f"must say {what} of {source.label}")
            for name, (value, what) in asked.items()
            if value is None
        )
    assert units is not None
    assert up is not None
    assert first is not None
    motion = parse_bvh(source)
    places = joint_places(motion, _asked_joint(motion, reference.joint, source))
    if np.ptp(places, axis=0).max() <= STATIC:
        joint = "a root" if reference.joint is None else f'a joint "{reference.joint}"'
        refuse_bvh(source, f"has {joint} that does not move, {_hint(motion)}")
    step = frames_a_sample(
        reference.rate or _rate_of(motion.frame_time_s, source), job_rate=job_rate
    )
    n_samples = len(places)
    metres = METRES[units] if isinstance(units, str) else units
    return SubjectSamples(
        frames=first + np.arange(n_samples) * step.numerator / step.denominator,
        points=inside_from_scene(places * metres, up),
        head=None,
        facing_rad=np.full(n_samples, np.nan),
        visible=np.ones(n_samples, dtype=np.bool_),
        step_frames=float(step),
        locked=False,
    )


def joint_places(motion: BvhMotion, joint: int) -> FloatArray:
    """Return where a joint is, in the axes and units of the file.

    Args:
        motion: a parsed file.
        joint: index of the joint.

    Returns:
        (n, 3), one row a sample.
    """
    n_samples = len(motion.values)
    place = np.zeros((n_samples, 3))
    turn = np.broadcast_to(np.eye(3), (n_samples, 3, 3))
    # A value that is not a number ends as NaN in its row, where the checks name it.
    with np.errstate(invalid="ignore", over="ignore"):
        for each in _chain(motion.joints, joint):
            local = _local(each, motion.values)
            place = place + np.einsum("nij,nj->ni", turn, local)
            turn = turn @ _own_turn(each, motion.values)
    return place


def snapped_rate(frame_time_s: float) -> Fraction | None:
    """Return the rate n or n x 1000/1001 that a frame time stands for, or None.

    Args:
        frame_time_s: seconds a sample, rounded by whoever wrote it.
    """
    rate = 1.0 / frame_time_s
    whole = Fraction(round(rate))
    slowed = Fraction(round(rate * 1001 / 1000) * 1000, 1001)
    for candidate in (whole, slowed):
        if candidate and abs(rate / float(candidate) - 1.0) <= RATE_TOLERANCE:
            return candidate
    return None


def _chain(joints: list[Joint], joint: int) -> list[Joint]:
    """The joints from the root down to one."""
    chain = []
    while joint != ROOT:
        chain.append(joints[joint])
        joint = joints[joint].parent
    return chain[::-1]


def _local(joint: Joint, values: FloatArray) -> FloatArray:
    local = np.tile(np.array(joint.offset), (len(values), 1))
    for k, (axis, is_rotation) in enumerate(joint.channels):
        if not is_rotation:
            local[:, axis] = values[:, joint.first_channel + k]
    return local


def _own_turn(joint: Joint, values: FloatArray) -> FloatArray:
    turn = np.broadcast_to(np.eye(3), (len(values), 3, 3))
    for k, (axis, is_rotation) in enumerate(joint.channels):
        if is_rotation:
            turn = turn @ _turn_about(axis, values[:, joint.first_channel + k])
    return turn


def _turn_about(axis: int, angles_deg: FloatArray) -> FloatArray:
    """Right-handed rotations about a coordinate axis, (n, 3, 3)."""
    angles = np.radians(angles_deg)
    second, third = (axis + 1) % 3, (axis + 2) % 3
    turn = np.zeros((len(angles), 3, 3))
    turn[:, axis, axis] = 1.0
    turn[:, second, second] = turn[:, third, third] = np.cos(angles)
    turn[:, third, second] = np.sin(angles)
    turn[:, second, third] = -np.sin(angles)
    return turn


def _asked_joint(motion: BvhMotion, name: str | None, source: Source) -> int:
    if name is None:
        return 0
    names = [joint.name for joint in motion.joints]
    if name not in names:
        near = difflib.get_close_matches(name, names, n=1)
        hint = f"did you mean '{near[0]}'" if near else f"only {_listed(names)}"
        refuse_bvh(source, f"has no joint '{name}', {hint}")
    return names.index(name)


def _rate_of(frame_time_s: float, source: Source) -> Fraction:
    rate = snapped_rate(frame_time_s)
    if rate is None:
        rule = (
            f"has Frame Time {frame_time_s:g} s, no whole or 1000/1001 rate; say rate"
        )
        refuse_bvh(source, rule)
    return rate


def _hint(motion: BvhMotion) -> str:
    """Which joints to name instead: those that are moved, else all."""
    joints = motion.joints[1:]
    moved = [
        joint.name
        for joint in joints
        if not all(is_rotation for _, is_rotation in joint.channels)
    ]
    return f"name the joint that carries the body ({_listed(moved or _names(joints))})"


def _names(joints: list[Joint]) -> list[str]:
    return [joint.name for joint in joints]


def _listed(names: list[str]) -> str:
    return ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
