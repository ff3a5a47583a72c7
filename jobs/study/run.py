"""Runs a study: reads and measures every camera; one that fails stops no other."""

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ...solver.action.subject import Subject
from ...solver.cuts.continuity import CutShot, cut_findings
from ...solver.cuts.end import ShotEnds
from ...solver.cuts.findings import Finding
from ...solver.presets import PRESETS
from ...solver.studies.cuts import studied_ends
from ...solver.studies.findings import study_findings
from ...solver.studies.framing import LensUse
from ...solver.studies.study import Study, study
from ..errors import Fault
from ..processes.pool import n_processors, runner
from ..run.warm import WARMED
from ..subjects.faults import SubjectError
from ..subjects.read import read_subject
from ..subjects.request import SubjectRequest
from .curves import read_camera
from .read_camera import ReadCamera
from .rows import row_of
from .spec import StudiedSpec, StudyFile

FEWEST_A_WORKER = 24  # a process takes longer to start than these to study


@dataclass(frozen=True, kw_only=True, slots=True)
class StudyWork:
    """What every camera of a study is studied with.

    `places` are the cameras' indices in the file, by name.
    """

    file: StudyFile
    folder: Path
    fit: bool
    places: dict[str, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Studied:
    """One camera's outcome.

    Attributes:
        name: of the camera.
        row: its numbers, flat, units in the names; empty where it failed.
        findings: what it is faulted for.
        faults: why it could not be studied.
        ends: how it begins and ends; None where it failed.
        study: the study itself, only where it was asked for.
    """

    name: str
    row: dict[str, Any]
    findings: tuple[Finding, ...] = ()
    faults: tuple[Fault, ...] = ()
    ends: ShotEnds | None = None
    study: Study | None = None


def study_all(
    file: StudyFile,
    folder: Path,
    *,
    fit: bool,
    workers: int | None = None,
    keep: bool = False,
    progress: Callable[[Studied, int], None] | None = None,
) -> list[Studied]:
    """Study every camera of a file.

    Args:
        file: checked.
        folder: where it lies.
        fit: look for crews, a second or two a camera.
        workers: processes; None for as many as pay.
        keep: return the studies themselves, not only their rows.
        progress: called after each camera, with their number.

    Returns:
        In the order of the file, which is that of the cuts.
    """
    places = {spec.name: k for k, spec in enumerate(file.cameras)}
    work = StudyWork(file=file, folder=folder, fit=fit, places=places)
    enough = 1 if fit else FEWEST_A_WORKER
    most = min(n_processors(), -(-len(file.cameras) // enough))
    n_workers = most if workers is None else workers
    found: dict[str, Studied] = {}
    one_of = functools.partial(_one, keep=keep)
    with runner(work, n_workers, preload=(WARMED,)) as run:
        for one in run(one_of, file.cameras, lost=_lost):
            found[one.name] = one
            if progress is not None:
                progress(one, len(file.cameras))
    done = [found[spec.name] for spec in file.cameras]
    cuts = cut_findings(cut_shots(file, done))
    return [
        replace(one, findings=(*one.findings, *more))
        for one, more in zip(done, cuts, strict=True)
    ]


def cut_shots(file: StudyFile, done: list[Studied]) -> list[CutShot]:
    """Return a file's cameras as shots that follow one another."""
    return [
        CutShot(
            name=spec.name,
            scene=spec.scene.lower(),
            elapsed=spec.cut == "elapsed",
            ends=one.ends,
        )
        for spec, one in zip(file.cameras, done, strict=True)
    ]


def _lost(work: StudyWork, spec: StudiedSpec) -> Studied:
    fault = Fault(path=spec.name, message="the process that studied it died")
    return Studied(name=spec.name, row={}, faults=(fault,))


def _one(work: StudyWork, spec: StudiedSpec, *, keep: bool) -> Studied:
    path = f"cameras[{work.places[spec.name]}]"
    try:
        camera, subject = read_pair(work.file, spec, work.folder, path)
    except SubjectError as error:
        return Studied(name=spec.name, row={}, faults=error.faults)
    lenses = () if work.file.any_lens else work.file.camera.kit
    kit = tuple(lens.mm for lens in lenses)
    done = study(
        camera.move,
        subject,
        rate=work.file.rate,
        kit_mm=kit,
        size=spec.size,
        crew=PRESETS[work.file.limits],
        fit=work.fit,
    )
    return Studied(
        name=spec.name,
        row=row_of(done, float(work.file.rate)),
        findings=study_findings(done),
        ends=studied_ends(
            camera.move,
            subject,
            done.framed,
            rate=work.file.rate,
            focal_mm=_named(done.lens),
        ),
        study=done if keep else None,
    )


def _named(lens: LensUse) -> float:
    """Return the focal length by which cuts tell lenses apart [mm]."""
    if lens.nearest_mm is not None and lens.in_kit:
        return lens.nearest_mm
    return round(lens.focal_mm, 1)


def read_pair(
    file: StudyFile, spec: StudiedSpec, folder: Path, path: str
) -> tuple[ReadCamera, Subject]:
    """Read a camera and its subject over the same time.

    Raises:
        SubjectError: either cannot be used.
    """
    camera = read_camera(spec, file, folder=folder, path=path)
    request = SubjectRequest(
        folder=folder,
        rate=file.rate,
        first_frame=camera.first,
        last_frame=camera.last,
        up=file.world.up,
        metres_per_unit=file.world.metres_per_unit,
        path=f"{path}.subject",
    )
    track = read_subject(spec.subject, request)
    subject = Subject(
        name=track.name,
        times_s=track.times_s,
        floor=track.floor,
        eyes=track.eyes,
        facing_rad=track.facing_rad,
        fresh=track.new,
        visible=track.visible,
        height_m=track.height_m,
    )
    return camera, subject
