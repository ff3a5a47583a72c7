"""From a shot of the job file to what its setup may be, and back to a setup in it.

A setup leaves here as plain values in scene units, as it would stand in the job file,
rounded to a millimetre and a hundredth of a degree.
"""

from collections.abc import Iterable
from math import degrees, radians
from pathlib import Path
from typing import Any

import numpy as np

from ...solver.optics.lens import Lens
from ...solver.rigs.kinds import KINDS
from ...solver.setups.setup import SIDES, VIEWS_RAD, Ask, Setup, View
from ...solver.stage.stage import DEFAULT_HEIGHT_M, Stage
from ..job.camera import LensSpec
from ..job.rig import RIGS, DollyRig, Written
from ..job.rig_choice import ChooseRig
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.world import WorldSpec
from ..subjects import read_subject
from ..subjects.read import SubjectReader
from .shots import VIEWS_DEG, Prepared, build_shot

OPEN_VIEWS = ("three_quarter", "profile", "front", "rear")
OVER_DEG = 25.0  # over the shoulder of the other one; common practice, no source
_ON_LINE_DEG = 1.0  # views nearer the line of travel have one side only
_STAND_IN = {"kind": "sticks", "at": (0.0, 0.0, 0.0)}


def ask_of(
    job: JobFile,
    spec: ShotSpec,
    folder: Path,
    *,
    read: SubjectReader = read_subject,
) -> tuple[Ask, Prepared]:
    """Read a shot's subjects and say what its setup may be.

    Args:
        job: the checked job.
        spec: one of its shots, open or not.
        folder: where the job file lies.
        read: how subjects are read.

    Returns:
        The ask, and the shot as read; where rig or lens are open, it has stand-ins.

    Raises:
        ShotDataError: a subject can't be read.
    """
    standing: dict[str, Any] = {}
    if spec.is_open:
        standing = {"lens_mm": spec.lenses[0].mm, "side": None, "view": None}
        if "height" in spec.open_fields:
            standing["height"] = None
        if "rig" in spec.open_fields:
            standing["rig"] = _STAND_IN
    prepared = build_shot(job, spec.with_setup(standing), folder, read=read)
    shot, world = prepared.shot, job.world
    rig_open = isinstance(spec.rig, ChooseRig)
    height = None
    if rig_open and isinstance(spec.height, float):
        height = world.metres(spec.height)
    ask = Ask(
        shot=shot,
        lenses=_lenses(spec.lenses),
        kit=_lenses(spec.usable_lenses),
        rig=None if rig_open else shot.rig,
        kinds=_kinds(spec),
        views=_views(spec),
        height_m=height,
        height_open="height" in spec.open_fields,
        hold=spec.rig.hold if isinstance(spec.rig, ChooseRig) else None,
        rig_price=spec.rig.price if isinstance(spec.rig, ChooseRig) else 1.0,
        stage=stage_of(spec, world),
    )
    return ask, prepared


def _lenses(specs: Iterable[LensSpec]) -> tuple[Lens, ...]:
    return tuple(Lens(one.mm, one.close_focus_m, one.widest_stop) for one in specs)


def _kinds(spec: ShotSpec) -> tuple[str, ...]:
    asked = spec.rig.kinds if isinstance(spec.rig, ChooseRig) else tuple(KINDS)
    return tuple(kind for kind in KINDS if kind in asked)


def _views(spec: ShotSpec) -> tuple[View, ...]:
    """Return the views that may be taken; the order says which is tried first."""
    sides = SIDES if spec.side in (None, "choose") else (spec.side,)
    asked: tuple[str | float | None, ...] = (spec.view,)
    if spec.view in (None, "choose"):
        several = sum(subject.share > 0 for subject in spec.subjects) > 1
        asked = (*OPEN_VIEWS, OVER_DEG) if several else OPEN_VIEWS
    found = []
    for view in asked:
        angle = VIEWS_DEG[view] if isinstance(view, str) else float(view or 0.0)
        name = view if isinstance(view, str) else f"{angle:g} deg"
        on_line = min(angle, 180.0 - angle) < _ON_LINE_DEG
        for side in sides[:1] if on_line else sides:
            found.append(View(name=str(name), angle_rad=radians(angle), side=str(side)))
    return tuple(found)


def stage_of(spec: ShotSpec, world: WorldSpec) -> Stage:
    """Return a shot's stage as the solver sees it."""
    asked = spec.stage
    ground = world.metres(asked.ground)
    low, high = asked.height_m or DEFAULT_HEIGHT_M
    floor = None
    if asked.floor is not None:
        corners = [
            (*point, 0.0) if world.up == "z" else (point[0], 0.0, point[1])
            for point in asked.floor
        ]
        floor = world.inside(np.array(corners))[:, [0, 2]]
    boxes = [world.inside(np.array([box.from_, box.to])) for box in asked.keep_outs]
    return Stage(
        floor=floor,
        keep_outs=np.array(boxes).reshape(-1, 2, 3),
        names=tuple(box.name for box in asked.keep_outs),
        sight_forbidden=np.array(
            [box.sight == "forbid" for box in asked.keep_outs], dtype=np.bool_
        ),
        heights=(ground + low, ground + high),
        straight_m=asked.straight_m,
        curve_radii_m=asked.curve_radius_m,
        min_distance_m=asked.min_distance_m,
    )


def setup_values(setup: Setup, world: WorldSpec) -> dict[str, Any]:
    """Return a setup as it would stand in the job file: rig, lens, height and view."""
    kind, written = setup.rig.kind, Written(world=world)
    rig = {"kind": kind, **RIGS[kind].values(setup.rig, written)}
    if issubclass(RIGS[kind].spec, DollyRig):
        rig["hold"] = setup.hold
        rig["beside"] = written.point(np.array(setup.offset))
        rig["follow"] = setup.follow
    return {
        "rig": rig,
        "lens_mm": setup.lens.focal_mm,
        "height": None,
        "side": None if setup.view is None else setup.view.side,
        "view": None if setup.view is None else _view_value(setup.view),
    }


def _view_value(view: View) -> str | float:
    return view.name if view.name in VIEWS_RAD else round(degrees(view.angle_rad), 6)
