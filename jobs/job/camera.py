"""The `camera` table: film back, delivery, exposure and lens kit."""

from functools import lru_cache
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from ...solver.optics.camera import FILM_BACKS, Gate, used_gate
from .quantities import Number, Spec, Text, refusal

# 0.0006 in: a cinematographer's handbook; 0.001 in, 0.025 mm, for 35 mm film.
COC_16_MM = 0.015
COC_OF_16_MM_ON = ("16mm", "super16")

Millimetres = Annotated[Number, Field(gt=0, le=10_000)]
FStop = Annotated[Number, Field(ge=0.5, le=128)]


class LensSpec(Spec):
    """A prime lens of the kit."""

    mm: Millimetres
    """Marked focal length."""
    close_focus_m: Annotated[Number, Field(gt=0, le=100)] = 0.3
    """Nearest focus."""
    widest_stop: FStop = 1.4
    """Smallest f-number."""


@lru_cache(maxsize=256)
def _plain_kit(focals_mm: tuple[float, ...]) -> tuple[LensSpec, ...]:
    """Return lenses of which only the focal lengths are known, shortest first."""
    return tuple(LensSpec(mm=mm) for mm in sorted(focals_mm))


class CameraSpec(Spec):
    """What the camera is, and which lenses there are."""

    film_back: Text | None = None
    """Name of a known back, or give width_mm and height_mm."""
    width_mm: Millimetres | None = None
    height_mm: Millimetres | None = None
    aspect: Annotated[Number, Field(ge=0.1, le=10)] | None = None
    """Delivered width over height; absent: the whole back, desqueezed."""
    extraction: Literal["centre", "common_top"] = "centre"
    squeeze: Annotated[Number, Field(ge=1, le=4)] = 1.0
    overscan: Annotated[Number, Field(ge=1, le=4)] = 1.0
    shutter_deg: Annotated[Number, Field(gt=0, le=360)] = 180.0
    stop: FStop = 2.8
    """F-number at which the sequence is exposed."""
    coc_mm: Annotated[Number, Field(gt=0, le=1)] = 0.025
    """Circle of confusion on the film; absent, 0.015 on 16 mm film and 0.025 else."""
    lens_kit_mm: Annotated[tuple[Millimetres, ...], Field(min_length=1)] | None = None
    """Focal lengths of the kit, or give lenses."""
    lenses: Annotated[tuple[LensSpec, ...], Field(min_length=1)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _circle_of_the_gauge(cls, fields: Any) -> Any:
        """Fill the circle of confusion of 16 mm film where it is left out."""
        if isinstance(fields, dict) and fields.get("film_back") in COC_OF_16_MM_ON:
            return {"coc_mm": COC_16_MM, **fields}
        return fields

    @model_validator(mode="after")
    def _one_back_and_one_kit(self) -> Self:
        size = (self.width_mm, self.height_mm)
        if self.film_back is None and None in size:
            message = "needs film_back, or width_mm and height_mm"
            raise refusal(message)
        if self.film_back is not None and size != (None, None):
            message = "has both film_back and width_mm or height_mm; keep one"
            raise refusal(message)
        if (self.lens_kit_mm is None) == (self.lenses is None):
            message = "needs either lens_kit_mm or lenses"
            raise refusal(message)
        return self

    @property
    def kit(self) -> tuple[LensSpec, ...]:
        """The lenses, shortest first."""
        if self.lenses is None:
            return _plain_kit(tuple(self.lens_kit_mm or ()))
        return tuple(sorted(self.lenses, key=lambda lens: lens.mm))

    def lens(self, mm: float) -> LensSpec:
        """Return the lens of the kit with this marked focal length.

        Raises:
            KeyError: it is not in the kit, which a checked job excludes.
        """
        return {lens.mm: lens for lens in self.kit}[mm]

    @property
    def back_mm(self) -> tuple[float, float]:
        """Width and height of the film back [mm]."""
        if self.film_back is not None:
            return FILM_BACKS[self.film_back]
        assert self.width_mm is not None
        assert self.height_mm is not None
        return self.width_mm, self.height_mm

    @property
    def gate(self) -> Gate:
        """The part of the back that is delivered."""
        width_mm, height_mm = self.back_mm
        return used_gate(
            width_mm,
            height_mm,
            aspect=self.aspect or self.squeeze * width_mm / height_mm,
            squeeze=self.squeeze,
            overscan=self.overscan,
            extraction=self.extraction,
        )
