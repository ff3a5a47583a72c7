"""Trajectory of one subject over one shot, as arrays that the solver takes."""

from dataclasses import dataclass

from ...solver.arrays import BoolArray, FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class SubjectTrack:
    """Where a subject is, sample by sample; all arrays are read-only.

    Points are metres, right-handed, Y up. There is no NaN but in `facing_rad`:
    where a subject was not measured the points are interpolated over the gap, and
    such samples are neither visible nor new.

    Attributes:
        name: the subject's name.
        times_s: ascending, (n,) [s]; time zero is frame 0 at the job's rate.
        frames: the same in frames of the shot, (n,), whole where frame-locked.
        floor: point of the ground under the body, standing upright, (n, 3) [m].
        eyes: eye point, (n, 3) [m].
        facing_rad: angle about the up axis, counter-clockwise from above, 0 toward
            -Z, (n,) [rad]; NaN where it is not known.
        new: the sample tells something: seen, and no repeat of a held key, (n,).
        visible: the sample was measured and is not marked hidden, (n,).
        height_m: stature [m].
        digest: SHA-256 of the bytes that were read, hexadecimal.
        uncovered: first and last of the frames asked for that lie before the first
            sample or after the last: nobody sees the subject in them.
    """

    name: str
    times_s: FloatArray
    frames: FloatArray
    floor: FloatArray
    eyes: FloatArray
    facing_rad: FloatArray
    new: BoolArray
    visible: BoolArray
    height_m: float
    digest: str
    uncovered: tuple[tuple[int, int], ...] = ()
