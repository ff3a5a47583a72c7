"""Which cameras the lens table is made for: those of a job, or one from options."""

from pathlib import Path
from typing import Any, NoReturn

from ...solver.action.body import SIZES
from ...solver.optics.camera import FILM_BACKS
from ..errors import Fault, JobError
from ..job.camera import CameraSpec
from ..job.load import load_job

DEFAULT_BACK = "super35-4perf"
DEFAULT_KIT = (18.0, 25.0, 35.0, 50.0, 75.0, 100.0)  # common practice, no source


def cameras_of_job(path: Path) -> list[tuple[CameraSpec, tuple[str, ...]]]:
    """Return the different cameras of a job, each with the shots that use it.

    Raises:
        InputError: the file cannot be read.
        JobError: the job is refused.
    """
    found: dict[str, tuple[CameraSpec, list[str]]] = {}
    for spec in load_job(path).shots:
        key = spec.camera.model_dump_json()
        found.setdefault(key, (spec.camera, []))[1].append(spec.name)
    return [(camera, tuple(shots)) for camera, shots in found.values()]


def changed_camera(
    camera: CameraSpec | None,
    *,
    back: str | None,
    kit: str | None,
    stop: float | None,
    aspect: float | None,
) -> CameraSpec:
    """Return a camera with what was asked for in place of its own.

    Args:
        camera: of a job; None for a common film back and kit.
        back: name of a film back.
        kit: focal lengths [mm], "18,25,35".
        stop: f-number, 0.5 to 128.
        aspect: delivered width over height, 0.1 to 10.

    Raises:
        JobError: an option is out of range or names no film back.
    """
    values: dict[str, Any] = (
        {"film_back": DEFAULT_BACK, "lens_kit_mm": DEFAULT_KIT}
        if camera is None
        else camera.model_dump()
    )
    if back is not None:
        if back not in FILM_BACKS:
            _refuse("--back", f'"{back}" is not a film back ({", ".join(FILM_BACKS)})')
        values |= {"film_back": back, "width_mm": None, "height_mm": None}
    if kit is not None:
        values |= {"lens_kit_mm": _kit(kit), "lenses": None}
    if stop is not None:
        values["stop"] = _within("--stop", stop, 0.5, 128.0)
    if aspect is not None:
        values["aspect"] = _within("--aspect", aspect, 0.1, 10.0)
    return CameraSpec(**values)


def size_change(before: str | None, after: str | None) -> tuple[str, str] | None:
    """Return the change of size asked for, or None.

    Raises:
        JobError: only one size is given, or one is not a size.
    """
    if before is None and after is None:
        return None
    for option, size in (("--from", before), ("--to", after)):
        if size not in SIZES:
            _refuse(option, f"needs one of {', '.join(SIZES)}, got {size or 'nothing'}")
    assert before is not None
    assert after is not None
    return before, after


def within_body(height_m: float, headroom: float) -> None:
    """Refuse a stature or a headroom that no table can be made for.

    Raises:
        JobError: stature outside 0.1 to 10 m, headroom outside 0 to 0.49.
    """
    _within("--height-m", height_m, 0.1, 10.0)
    _within("--headroom", headroom, 0.0, 0.49)


def _kit(text: str) -> tuple[float, ...]:
    try:
        kit = tuple(sorted({float(part) for part in text.split(",")}))
    except ValueError:
        _refuse("--kit", f'needs focal lengths in mm such as 18,25,35, got "{text}"')
    return tuple(_within("--kit", mm, 1.0, 10_000.0) for mm in kit)


def _within(option: str, value: float, low: float, high: float) -> float:
    if not low <= value <= high:
        _refuse(option, f"must be {low:g} to {high:g}, got {value:g}")
    return value


def _refuse(option: str, message: str) -> NoReturn:
    raise JobError((Fault(path=option, message=message),))
