"""What comes of an action when its takes are there: its runs and its cut.

Made whenever rows of its cameras are put into the sequence, from the takes that lie
there then, as they are written. So whoever of several parts of a run comes last makes
it from all of them. Nothing here changes a take.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np

from ...solver.audit import against
from ...solver.coverage.pictures import Pictures, pictures_of
from ...solver.coverage.together import fewest_runs
from ...solver.coverage.unseen import clash_of, ground_of, standing
from ...solver.cuts.findings import OF_SHOT, THIS_TOOL, Finding
from ...solver.errors import SolverError
from ..coverage.timeline import TimelineClip, timeline_json
from ..errors import ShotDataError
from ..job.action import ActionSpec
from ..job.rate import rate_text
from ..places.atomic import write_whole
from ..takes.actions import CAMERAS_ONLY, CoveredAction, action_place
from ..takes.continuity import PlainFinding, entry_of, plain_finding
from ..takes.curves import curves_of
from ..takes.metadata import take_metadata
from .choose import family_of
from .cut_action import ActionCamera, with_cut
from .lock import written_take
from .shots import build_shot
from .solve_shot import Work


def cover_actions(work: Work, shots: Collection[str]) -> None:
    """Make what comes of the actions of which any of some shots is a camera.

    Args:
        work: the run.
        shots: names of those that were solved.

    Raises:
        OSError: a file could not be written.
    """
    for action in work.job.actions:
        if any(action.shot_of(camera) in shots for camera in action.cameras):
            found = cover_action(work, action)
            place = action_place(work.store.folder, action.name)
            write_whole(place, found.json())
            timeline = place.parent / f"{action.name}.otio"
            if found.pictures:
                write_whole(timeline, _timeline(work, found))
            else:
                timeline.unlink(missing_ok=True)


def _timeline(work: Work, found: CoveredAction) -> bytes:
    """Return the cut of an action as an .otio file beside what came of it."""
    clips = [
        TimelineClip(camera=one.camera, shot=one.shot, frames=one.frames)
        for one in found.pictures
    ]
    media = {
        camera: f"../takes/{shot}.parquet" for camera, shot in found.cameras.items()
    }
    return timeline_json(found.action, work.job.rate, clips, media, found.frames)


def cover_action(work: Work, action: ActionSpec) -> CoveredAction:
    """Return what comes of an action with the takes that lie in the store."""
    cameras = [
        camera
        for name in action.cameras
        if (camera := _camera(work, action, name)) is not None
    ]
    found = CoveredAction(
        action=action.name,
        frames=action.frames,
        rate=rate_text(work.job.rate),
        cameras={one.name: one.spec.name for one in cameras},
        takes={one.name: one.take_key for one in cameras},
        shown={one.name: _shown(one.pictures, action) for one in cameras},
        status=CAMERAS_ONLY,
    )
    if action.together and len(cameras) > 1:
        found = _with_runs(work, action, cameras, found)
    if action.cut is None or not cameras:
        return found
    return with_cut(work, action, cameras, found)


def _camera(work: Work, action: ActionSpec, name: str) -> ActionCamera | None:
    """Return a camera with its take as it lies there; None where it has none.

    A take of other frames than the action's is none.
    """
    spec = work.job.shot(action.shot_of(name))
    table = work.store.current(spec.name)
    if table is None:
        return None
    metadata, curves = take_metadata(table), curves_of(table)
    if curves.cut != action.frames or curves.rate != work.job.rate:
        return None
    closed = spec.with_setup(metadata.setup)
    try:
        prepared = build_shot(work.job, closed, work.folder, read=work.read)
        take = against(prepared.shot, written_take(table, curves, prepared))
        pictures = pictures_of(take, name, family_of(metadata.setup))
    except (ShotDataError, SolverError, KeyError):  # its row says what is wrong
        return None
    return ActionCamera(name, spec, metadata.keys.take, take, pictures)


def _shown(pictures: Pictures, action: ActionSpec) -> dict[str, list[list[int]]]:
    """Return the frames that show each person's head, as spans."""
    first = action.frames[0]
    spans: dict[str, list[list[int]]] = {}
    for name, shown in zip(pictures.people, pictures.shown, strict=True):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], shown, [0]])))
        spans[name] = [
            [first + int(a), first + int(b) - 1]
            for a, b in edges.reshape(-1, 2).tolist()
        ]
    return spans


def _with_runs(
    work: Work,
    action: ActionSpec,
    cameras: Sequence[ActionCamera],
    found: CoveredAction,
) -> CoveredAction:
    """Return an action with the runs that its cameras take, by their takes."""
    ground = min(ground_of(one.take) for one in cameras)
    stands = [standing(one.take, ground) for one in cameras]
    clashes = {
        (j, k): clash_of(stands[j], stands[k])
        for j, k in combinations(range(len(cameras)), 2)
    }
    runs = fewest_runs(
        {pair: c is not None for pair, c in clashes.items()}, len(cameras)
    )
    told: list[dict[str, Any]] = []
    findings: dict[str, list[PlainFinding]] = {}
    for (j, k), clash in clashes.items():
        if clash is None:
            continue
        one, two = cameras[j], cameras[k]
        frame = int(one.take.frame[clash.sample])
        what = {"cameras": [one.name, two.name], "what": clash.what, "frame": frame}
        told.append(what)
        finding = Finding(
            name="camera_seen",
            severity="warning",
            subject_of=OF_SHOT,
            numbers={
                "what": clash.what,
                "other": two.spec.name,
                "frame": frame,
                "runs": len(runs),
            },
            source=THIS_TOOL,
        )
        plain = plain_finding(finding, entry_of(work.job, one.spec))
        findings.setdefault(one.spec.name, []).append(plain)
    return replace(
        found,
        runs=[[cameras[k].name for k in run] for run in runs],
        clashes=told,
        findings=findings,
    )
