"""A subject of a shot: where its motion is read from and what it means."""

from itertools import pairwise
from pathlib import PurePath
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from .framing import FrameNumber
from .quantities import Name, Number, Rate, Spec, Text, Truth, refusal

TABLE_SUFFIXES = (".parquet", ".arrow", ".csv")
SCENE_SUFFIXES = (".usd", ".usda", ".usdc", ".usdz")
SUBJECT_SUFFIXES = (*TABLE_SUFFIXES, ".bvh", *SCENE_SUFFIXES)

FileName = Annotated[Text, Field(min_length=1, max_length=4096)]
Column = Annotated[Text, Field(min_length=1, max_length=200)]
Coordinates = Annotated[tuple[Number, ...], Field(min_length=1)]


Metres = Annotated[Number, Field(gt=0, le=1e6)]
"""Metres in one unit of a file that names none."""


class ColumnsSpec(Spec):
    """What the columns of a table are called."""

    frame: Column = "frame"
    time_s: Column = "time_s"
    x: Column = "x"
    y: Column = "y"
    z: Column = "z"
    head_x: Column = "head_x"
    head_y: Column = "head_y"
    head_z: Column = "head_z"
    facing_deg: Column = "facing_deg"
    visible: Column = "visible"


class SamplesSpec(Spec):
    """Motion written into the job itself; every list is of one length."""

    # Whether a table in memory has the columns, which is checked as a file is.
    is_held: ClassVar[bool] = False
    frame: Annotated[tuple[FrameNumber, ...], Field(min_length=1)] | None = None
    """Shot frames, rising; or give time_s."""
    time_s: Coordinates | None = None
    """Rising."""
    x: Coordinates
    y: Coordinates
    z: Coordinates
    head_x: Coordinates | None = None
    head_y: Coordinates | None = None
    head_z: Coordinates | None = None
    facing_deg: Coordinates | None = None
    visible: Annotated[tuple[Truth, ...], Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _one_clock_and_one_length(self) -> Self:
        if self.is_held:
            return self
        if (self.frame is None) == (self.time_s is None):
            message = "needs either frame or time_s"
            raise refusal(message)
        heads = (self.head_x, self.head_y, self.head_z)
        if None in heads and heads != (None, None, None):
            message = "needs all of head_x, head_y and head_z, or none"
            raise refusal(message)
        clock = self.frame if self.frame is not None else self.time_s
        assert clock is not None
        for name in type(self).model_fields:
            values = getattr(self, name)
            if values is not None and len(values) != len(clock):
                message = f"{name} has {len(values)} values, the clock has {len(clock)}"
                raise refusal(message)
        for before, after in pairwise(clock):
            if after <= before:
                message = f"the clock must rise, got {after:g} after {before:g}"
                raise refusal(message)
        return self


class SubjectSpec(Spec):
    """One subject: its motion and its claim on the frame."""

    name: Name
    file: FileName | None = None
    """Table, BVH or OpenUSD scene, relative to the job file; or give samples."""
    samples: SamplesSpec | None = None
    at: Literal["floor", "hips", "eyes", "head_top"]
    """Where on the body the samples are."""
    height_m: Annotated[Number, Field(gt=0, le=100)]
    """Stature."""
    share: Annotated[Number, Field(ge=0, le=1)] = 0.0
    """Weight in the framing; left out: 1 for the first subject, 0 for others."""
    must_hold: Truth = False
    """A take that loses it is a finding; left out: whether share is above 0."""
    present: Truth = False
    """In the action, not followed: lines, claims and what hides people know of it."""
    rate: Rate | None = None
    """Of files without frame numbers."""
    first_sample_at: FrameNumber | None = None
    """Shot frame of sample 0, for tables in time and files without frames."""
    prim: Annotated[Text, Field(min_length=1, max_length=4096)] | None = None
    """OpenUSD: path of the prim that is followed, `/World/courier`."""
    joint: Column | None = None
    """BVH and OpenUSD: the joint that is followed; OpenUSD: at or below the prim."""
    units: Literal["m", "cm", "mm", "in", "ft"] | Metres | None = None
    """BVH, and OpenUSD where the scene does not say it: length unit of the file."""
    up: Literal["y", "z"] | None = None
    """BVH, and OpenUSD where the scene does not say it: up axis of the file."""
    limit_m_s: Annotated[Number, Field(gt=0, le=1e6)] = 15.0
    """Faster between two samples is called a pop."""
    holds: Literal["auto", "keep"] = "auto"
    """auto: repeated positions are not new samples; keep: they are."""
    columns: ColumnsSpec = ColumnsSpec()

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.file is None) == (self.samples is None):
            message = "needs either file or samples"
            raise refusal(message)
        return self

    @property
    def suffix(self) -> str:
        """Suffix of the file in lower case, "" for samples."""
        return PurePath(self.file).suffix.lower() if self.file is not None else ""
