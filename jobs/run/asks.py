"""From a shot of the job file to what its setup may be, and back to a setup in it.

A setup leaves here in scene units, as it would stand in the job file, rounded to a
tenth of a millimetre and a hundredth of a degree.
"""

from collections.abc import Iterable
from math import degrees, radians
from pathlib import Path

import numpy as np

from ...solver.optics.lens import Lens
from ...solver.rigs.kinds import KINDS
from ...solver.setups.setup import SIDES, VIEWS_RAD, Ask, Setup, View
from ..job.camera import LensSpec
from ..job.framing import SizeName
from ..job.rig import RIGS, DollyRig, SticksRig, Written
from ..job.rig_choice import ChooseRig
from ..job.setup import SetupSpec
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.world import WorldSpec
from ..subjects import read_subject
from ..subjects.read import SubjectReader
from .shots import VIEWS_DEG, Prepared, build_shot, framings_of
from .stage import stage_of

OPEN_VIEWS = ("three_quarter", "profile", "front", "rear")
OVER_DEG = 25.0  # over the shoulder of the other one; common practice, no source
_ON_LINE_DEG = 1.0  # views nearer the line of travel have one side only
_STAND_IN = SticksRig(kind="sticks", at=(0.0, 0.0, 0.0))


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
    closed = spec.with_setup(_stand_in(spec)) if spec.is_open else spec
    # A setup is chosen once, whatever take is made in it.
    closed = closed.model_copy(update={"take": None})
    prepared = build_shot(job, closed, folder, read=read)
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
        stage=stage_of(spec, world, usual=True, mesh=shot.stage.set),
        sizes=tuple(
            (size, framings_of(job, _of_size(closed, size), shot.subjects))
            for size in spec.framing.open_sizes
        ),
    )
    return ask, prepared


def _of_size(spec: ShotSpec, size: SizeName) -> ShotSpec:
    """Return a shot with one of the sizes that it leaves open."""
    framing = spec.framing.model_copy(update={"size": size})
    return spec.model_copy(update={"framing": framing})


def _stand_in(spec: ShotSpec) -> SetupSpec:
    """Return a setup with which an open shot is read."""
    opened = spec.open_fields
    return SetupSpec(
        rig=_STAND_IN if "rig" in opened else spec.fixed_rig,
        lens_mm=spec.lenses[0].mm,
        height=None if "height" in opened else spec.fixed_height,
        size=spec.framing.named_size,
    )


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


def setup_in_scene(setup: Setup, world: WorldSpec) -> SetupSpec:
    """Return a setup as it would stand in the job file: rig, lens, height and view."""
    kind, written = setup.rig.kind, Written(world=world)
    rig = {"kind": kind, **RIGS[kind].values(setup.rig, written)}
    if issubclass(RIGS[kind].spec, DollyRig):
        rig["hold"] = setup.hold
        rig["beside"] = written.point(np.array(setup.offset))
        rig["follow"] = setup.follow
    view = setup.view
    return SetupSpec.model_validate(
        {
            "rig": rig,
            "lens_mm": setup.lens.focal_mm,
            "side": None if view is None else view.side,
            "view": None if view is None else _view_value(view),
            "size": setup.size or None,
        }
    )


def _view_value(view: View) -> str | float:
    return view.name if view.name in VIEWS_RAD else round(degrees(view.angle_rad), 6)
