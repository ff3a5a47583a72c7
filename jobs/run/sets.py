"""The set that a shot is taken in, for the people who are in it."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...solver.sight.set_mesh import SetMesh
from ..errors import Fault, ShotDataError
from ..job.shot import ShotSpec
from ..subjects import SubjectReader, SubjectTrack

if TYPE_CHECKING:  # a job without a set starts without what reads one
    from ..scene.baked import BakedSet

NEAR_M = 100.0  # nobody plays further from a set
_LOOKED_AT = 16  # places of everybody


def set_round(
    spec: ShotSpec,
    folder: Path,
    path: str,
    read: SubjectReader,
    tracks: Sequence[SubjectTrack],
) -> "BakedSet | None":
    """Return the set of a shot, None without one.

    What holds somebody through most of the shot is a room, whichever way its faces
    turn.

    Args:
        spec: the shot.
        folder: where the job file lies.
        path: the shot's place in the job, `shots[2]`.
        read: how subjects are read.
        tracks: of everybody who is seen.

    Raises:
        ShotDataError: the set cannot be used, or nobody is near it.
    """
    asked = spec.stage.set
    if asked is None:
        return None
    from ..scene.faults import SetError
    from ..scene.read import set_read

    where = f"{path}.stage.set"
    try:
        baked = set_read(asked, folder, where, read)
    except SetError as error:
        raise ShotDataError(spec.name, error.faults) from error
    _refuse_far(spec, baked.mesh, where, tracks)
    mesh = baked.mesh
    for one in tracks:
        rows = np.unique(np.linspace(0, len(one.eyes) - 1, _LOOKED_AT).astype(int))
        mesh = mesh.hollowed(one.eyes[rows])
    return replace(baked, mesh=mesh)


def _refuse_far(
    spec: ShotSpec, mesh: SetMesh, path: str, tracks: Sequence[SubjectTrack]
) -> None:
    low, high = mesh.bounds
    places = np.concatenate([one.floor for one in tracks])
    off = np.maximum(np.maximum(low - places, places - high), 0.0)
    gap = float(np.linalg.norm(off, axis=1).min())
    if gap > NEAR_M:
        size = " x ".join(f"{side:.3g}" for side in (high - low)[[0, 2, 1]])
        message = (
            f"nobody comes nearer than {gap:.0f} m to the set of {size} m: check "
            "its units and its origin"
        )
        fault = Fault(path=f"{path}.file", message=message)
        raise ShotDataError(spec.name, (fault,))
