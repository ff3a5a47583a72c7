"""What a reader needs to know of a subject that a job file names."""

from fractions import Fraction
from typing import Literal, Protocol

At = Literal["floor", "hips", "eyes", "head_top"]
Up = Literal["y", "z"]


class SubjectReference(Protocol):
    """The entry of a subject in a job file, already checked field by field.

    Attributes:
        name: the subject's name.
        file: the trajectory, relative to the job file's folder or absolute.
        samples: the same columns inline, an attribute each, None where left out;
            exactly one of `file` and `samples` is given.
        at: the point of the body that the samples are.
        height_m: stature [m].
        rate: samples a second, for BVH (default: from the file) and tables in time.
        first_sample_at: frame of the shot that sample 0 falls on.
        prim: path of a prim in an OpenUSD scene.
        joint: joint of a BVH file, default the root, or of a scene's skeleton.
        units: unit of length of a BVH file or scene, a name or metres.
        up: axis of a BVH file or scene that points up.
        limit_m_s: a faster step is a fault of the data [m/s].
        holds: `auto` takes short runs of one position as held keys, `keep` as new.
        columns: what the columns of a table are called, an attribute each.
    """

    @property
    def name(self) -> str: ...  # noqa: D102 - listed in the class
    @property
    def file(self) -> str | None: ...  # noqa: D102
    @property
    def samples(self) -> object | None: ...  # noqa: D102
    @property
    def at(self) -> At: ...  # noqa: D102
    @property
    def height_m(self) -> float: ...  # noqa: D102
    @property
    def rate(self) -> Fraction | None: ...  # noqa: D102
    @property
    def first_sample_at(self) -> int | None: ...  # noqa: D102
    @property
    def prim(self) -> str | None: ...  # noqa: D102
    @property
    def joint(self) -> str | None: ...  # noqa: D102
    @property
    def units(self) -> str | float | None: ...  # noqa: D102
    @property
    def up(self) -> Up | None: ...  # noqa: D102
    @property
    def limit_m_s(self) -> float: ...  # noqa: D102
    @property
    def holds(self) -> Literal["auto", "keep"]: ...  # noqa: D102
    @property
    def columns(self) -> object: ...  # noqa: D102
