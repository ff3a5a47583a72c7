"""The `stage` table: where a camera may stand, and what track there is."""

from pathlib import PurePath
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .quantities import GroundPoint, Name, Number, Point, Spec, Text, refusal

Metres = Annotated[Number, Field(gt=0, le=1e6)]
Height = Annotated[Number, Field(ge=0, le=1e6)]

# Eight feet, the usual section of straight track; common practice, no source.
STRAIGHT_M = 2.44
# Nearer than this a lens crowds whoever it looks at; common practice, no source.
MIN_DISTANCE_M = 1.0


class KeepOutSpec(Spec):
    """A box that no rail goes through, its edges along the scene's axes."""

    name: Name
    from_: Annotated[Point, Field(alias="from")]
    """One corner, scene units."""
    to: Point
    """The opposite corner, scene units."""
    sight: Literal["count", "forbid"] = "count"
    """Frames in which it hides a subject are counted, or forbidden."""


class PropSpec(Spec):
    """A point or a box that a claim can name; nothing is kept out of it."""

    name: Name
    at: Point | None = None
    """A point, scene units; or give the corners of a box."""
    from_: Annotated[Point | None, Field(alias="from")] = None
    """One corner, scene units."""
    to: Point | None = None
    """The opposite corner, scene units."""

    @model_validator(mode="after")
    def _point_or_box(self) -> Self:
        corners = (self.from_ is not None, self.to is not None)
        if corners not in ((True, True), (False, False)) or (
            (self.at is None) == (self.from_ is None)
        ):
            message = "needs either at, or from and to"
            raise refusal(message)
        return self


SET_SUFFIXES = (".usd", ".usda", ".usdc", ".usdz", ".gltf", ".glb", ".parquet")
PrimPath = Annotated[Text, Field(min_length=1, max_length=4096)]


class SetSpec(Spec):
    """Walls, doorways and furniture, from a scene."""

    file: Annotated[Text, Field(min_length=1, max_length=4096)]
    """OpenUSD or glTF scene, or what `bake-set` made of one, relative to the job."""
    prims: Annotated[tuple[PrimPath, ...], Field(max_length=1000)] = ()
    """OpenUSD: paths of what belongs to the set; glTF: names of nodes. Empty: all."""
    wild: Annotated[tuple[PrimPath, ...], Field(max_length=1000)] = ()
    """Paths or names of what may be taken out, with all that is below them."""
    thin_m: Annotated[Number, Field(ge=0, le=1)] = 0.02
    """What is no thicker in two directions, a wire or a hand rail, hides nobody."""
    units: Literal["m", "cm", "mm", "in", "ft"] | Metres | None = None
    """OpenUSD where the scene does not say it: its length unit, a name or metres."""
    up: Literal["y", "z"] | None = None
    """OpenUSD where the scene does not say it: its up axis."""

    @property
    def suffix(self) -> str:
        """Suffix of the file in lower case."""
        return PurePath(self.file).suffix.lower()


class StageSpec(Spec):
    """Where cameras may stand; all of it optional."""

    floor: Annotated[tuple[GroundPoint, ...], Field(min_length=3, max_length=1000)] | (
        None
    ) = None
    """Corners of a polygon in order, either way round, in scene units on the ground:
    x, y where Z is up, x, z where Y is up; absent: anywhere."""
    floor_holes: Annotated[
        tuple[
            Annotated[tuple[GroundPoint, ...], Field(min_length=3, max_length=1000)],
            ...,
        ],
        Field(max_length=100),
    ] = ()
    """Polygons inside the floor in which nothing can stand, as the floor."""
    keep_outs: Annotated[tuple[KeepOutSpec, ...], Field(max_length=1000)] = ()
    set: SetSpec | None = None
    """What cameras stand in: they keep clear of it, and see nobody through it."""
    props: Annotated[tuple[PropSpec, ...], Field(max_length=1000)] = ()
    """What claims can name beside keep-outs."""
    height_m: tuple[Height, Height] | None = None
    """Lowest and highest lens above the ground; absent: what the rigs reach."""
    ground: Annotated[Number, Field(ge=-1e9, le=1e9)] = 0.0
    """Height of the ground along the up axis, scene units."""
    straight_m: Metres | None = None
    """Length of a section of straight track, of which laid track is made whole;
    absent: any length, counted in sections of 2.44 m."""
    curve_radius_m: Annotated[tuple[Metres, ...], Field(max_length=1000)] = ()
    """Radii of the curved track there is; empty: any."""
    min_distance_m: Annotated[Number, Field(ge=0, le=1e6)] = MIN_DISTANCE_M
    """Nearest that the lens may come to a subject."""

    @property
    def set_file(self) -> str | None:
        """The file of the set, None without one."""
        return None if self.set is None else self.set.file

    @property
    def section_m(self) -> float:
        """Length of the sections in which straight track is counted [m]."""
        return STRAIGHT_M if self.straight_m is None else self.straight_m
