"""A take that a job locks: kept to the byte, and measured against tonight's action.

A lock names a take by its key. That take is made the current one of its shot whatever
the job asks for now; nothing is solved. Its setup stands in the place of the shot's
own, so that its neighbours are chosen to go with it.
"""

from dataclasses import dataclass
from math import radians
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from ...solver.action.claim import ClaimOutcome
from ...solver.arrays import FloatArray
from ...solver.audit import WrittenTake, against, audit, lock_findings
from ...solver.claims.everyone import frames_of_take
from ...solver.claims.measured import outcomes_of
from ...solver.cuts.findings import Finding
from ...solver.measures.on_stage import Measures
from ...solver.optics.lens import Lens
from ...solver.shake import ShakeTrack
from ..errors import Fault, ShotDataError
from ..job.rate import rate_text
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..subjects import SubjectReader, read_subject
from ..takes.curves import Curves, curves_of
from ..takes.keys import judge_key
from ..takes.metadata import take_metadata
from ..takes.store import Store
from .shots import Prepared, build_shot


@dataclass(frozen=True, kw_only=True, slots=True)
class LockedTake:
    """A locked take against tonight's action.

    Attributes:
        table: the take, as it was written.
        judge_key: of tonight's inputs.
        measures: against tonight's action.
        outcomes: of tonight's claims.
        findings: what it no longer holds.
        words: the same in sentences, a line each.
    """

    table: pa.Table
    judge_key: str
    measures: Measures
    outcomes: tuple[ClaimOutcome, ...]
    findings: tuple[Finding, ...]
    words: tuple[str, ...]


def with_locked_setups(job: JobFile, store: Store) -> JobFile:
    """Return a job whose locked shots have the setups of their takes.

    So nothing of them is left open, and the setups of their neighbours are chosen to
    go with them. A shot whose take is not there stays as it is, and fails later.
    """
    shots = []
    for spec in job.shots:
        table = None if spec.lock is None else store.whole(spec.name, spec.lock)
        if table is not None:
            spec = spec.with_setup(take_metadata(table).setup)
        shots.append(spec)
    return job.model_copy(update={"shots": tuple(shots)})


def keep_locked(
    job: JobFile,
    spec: ShotSpec,
    *,
    folder: Path,
    store: Store,
    read: SubjectReader = read_subject,
) -> LockedTake:
    """Make a shot's locked take the current one and measure it.

    Args:
        job: the checked job.
        spec: one of its shots, which has a lock.
        folder: where the job file lies.
        store: where the take lies.
        read: how subjects are read.

    Raises:
        ShotDataError: there is no such take, or tonight's action cannot be held
            against it; where there is one it is the current take all the same.
        OSError: the take could not be put in place.
    """
    assert spec.lock is not None
    table = store.whole(spec.name, spec.lock)
    if table is None:
        message = f"no take of the shot has the key {spec.lock[:12]}..."
        raise _refused(job, spec, message)
    store.make_current(spec.name, spec.lock)
    curves = curves_of(table)
    _refuse_other_clock(job, spec, curves)
    closed = spec.with_setup(take_metadata(table).setup)
    _refuse_other_kit(job, closed)
    prepared = build_shot(job, closed, folder, read=read)
    then = take_metadata(table).measures
    take = against(prepared.shot, written_take(table, curves, prepared))
    now = audit(take, then)
    findings = lock_findings(then, now)
    return LockedTake(
        table=table,
        judge_key=judge_key(job, closed, prepared.inputs),
        measures=now,
        outcomes=outcomes_of(take.shot.claims, frames_of_take(take)),
        findings=findings,
        words=(*_other_cut(spec, curves), *map(lock_words, findings)),
    )


def lock_words(finding: Finding) -> str:
    """Return a sentence for what a locked take no longer holds."""
    parts = [
        f"{name.replace('_', ' ')} {100 * float(value):.0f} % of the cut, "
        f"{100 * float(finding.numbers[f'{name}_locked']):.0f} % when it was locked"
        for name, value in finding.numbers.items()
        if not name.endswith("_locked")
    ]
    return f"the locked take no longer holds tonight's action: {'; '.join(parts)}"


def _refuse_other_clock(job: JobFile, spec: ShotSpec, curves: Curves) -> None:
    if curves.rate != job.rate:
        message = (
            f"the locked take runs at {rate_text(curves.rate)} frames a second, the "
            f"job at {rate_text(job.rate)}"
        )
        raise _refused(job, spec, message)
    first, last = spec.frames
    if last < curves.cut[0] or curves.cut[1] < first:
        message = (
            f"the locked take is of frames {curves.cut[0]} to {curves.cut[1]}, the "
            f"cut is {first} to {last}"
        )
        raise _refused(job, spec, message)


def _refuse_other_kit(job: JobFile, closed: ShotSpec) -> None:
    lens, kit = closed.fixed_lens_mm, [one.mm for one in closed.camera.kit]
    if lens not in kit:
        listed = ", ".join(f"{mm:g}" for mm in kit)
        message = f"the locked take's {lens:g} mm lens is not in the kit ({listed})"
        raise _refused(job, closed, message)


def _other_cut(spec: ShotSpec, curves: Curves) -> tuple[str, ...]:
    """Say where tonight's cut is not the one that was locked."""
    if spec.frames == curves.cut:
        return ()
    was, now = curves.cut, spec.frames
    return (
        f"the cut is {now[0]} to {now[1]}, the locked take is of {was[0]} to {was[1]}",
    )


def _refused(job: JobFile, spec: ShotSpec, message: str) -> ShotDataError:
    path = f"{job.path_of(spec.name)}.lock"
    return ShotDataError(spec.name, (Fault(path=path, message=message),))


def written_take(table: pa.Table, curves: Curves, prepared: Prepared) -> WrittenTake:
    """Return a take as it was written, to be held against an action.

    Args:
        table: the take.
        curves: of it.
        prepared: its shot, with the setup of the take.
    """
    shot = prepared.shot
    pan, tilt, roll = np.radians(curves.shake_deg).T
    x, y, z = curves.shake_m.T
    return WrittenTake(
        gate=curves.gate,
        lens=Lens(curves.focal_mm, shot.lens.close_focus_m, shot.lens.widest_stop),
        stop=curves.stop,
        coc_mm=shot.coc_mm,
        roll_rad=radians(curves.roll_deg[0]),
        frame=curves.frame,
        sub=curves.sub,
        rail=_moving(table, "rail_m", "rail_speed", "rail_accel"),
        pan=np.radians(_moving(table, "pan_deg", "pan_speed", "pan_accel")),
        tilt=np.radians(_moving(table, "tilt_deg", "tilt_speed", "tilt_accel")),
        base=curves.base_m,
        shake=ShakeTrack(x=x, y=y, z=z, pan=pan, tilt=tilt, roll=roll),
        place=curves.place_m,
        turn=curves.turn,
        focus_m=curves.focus_m,
        aim_u=_column(table, "aim_u"),
        aim_v=_column(table, "aim_v"),
    )


def _moving(table: pa.Table, *names: str) -> FloatArray:
    return np.column_stack([_column(table, name) for name in names])


def _column(table: pa.Table, name: str) -> Any:
    return table[name].to_numpy()
