"""What comes of an action when its takes are there: its runs and its cut.

Made whenever rows of its cameras are put into the sequence, from the takes that lie
there then, as they are written. So whoever of several parts of a run comes last makes
it from all of them. Nothing here changes a take.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np

from ...solver.audit import against
from ...solver.coverage.cut import (
    ChosenCut,
    CutAsk,
    HeldPicture,
    NoCut,
    OtherCut,
    choose_cut,
)
from ...solver.coverage.part import part_of
from ...solver.coverage.pictures import Pictures, pictures_of
from ...solver.coverage.together import fewest_runs
from ...solver.coverage.unseen import clash_of, ground_of, standing
from ...solver.coverage.worth import Beat, Lengths, PictureCosts, Speech
from ...solver.cuts.continuity import CutShot, cut_findings, cut_news
from ...solver.cuts.end import shot_ends
from ...solver.cuts.findings import OF_CUT, OF_SHOT, THIS_TOOL, Finding
from ...solver.errors import SolverError
from ...solver.take import Take
from ..coverage.timeline import TimelineClip, timeline_json
from ..errors import ShotDataError
from ..job.action import ActionSpec, CutSpec
from ..job.shot import ShotSpec
from ..places.atomic import write_whole
from ..takes.actions import (
    CAMERAS_ONLY,
    CUT,
    NO_CUT,
    CoveredAction,
    CutPicture,
    action_place,
)
from ..takes.continuity import PlainFinding, entry_of, plain_finding
from ..takes.curves import curves_of
from ..takes.metadata import take_metadata
from .choose import cut_costs, family_of
from .lock import written_take
from .shots import build_shot
from .solve_shot import Work

HELPS = {
    "settled": "cutting into pans that have not settled",
    "first": "another first camera",
    "last": "another last camera",
    "shortest": "a smaller shortest_s",
    "longest": "a larger longest_s",
}


class _Camera(NamedTuple):
    """A camera with its take."""

    name: str
    spec: ShotSpec
    take_key: str
    take: Take
    pictures: Pictures


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
        cameras={one.name: one.spec.name for one in cameras},
        takes={one.name: one.take_key for one in cameras},
        shown={one.name: _shown(one.pictures, action) for one in cameras},
        status=CAMERAS_ONLY,
    )
    if action.together and len(cameras) > 1:
        found = _with_runs(work, action, cameras, found)
    if action.cut is None or not cameras:
        return found
    return _with_cut(work, action, cameras, found)


def _camera(work: Work, action: ActionSpec, name: str) -> _Camera | None:
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
    return _Camera(name, spec, metadata.keys.take, take, pictures)


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
    work: Work, action: ActionSpec, cameras: Sequence[_Camera], found: CoveredAction
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


def _with_cut(
    work: Work, action: ActionSpec, cameras: Sequence[_Camera], found: CoveredAction
) -> CoveredAction:
    """Return an action with its cut."""
    assert action.cut is not None
    ask = cut_ask(work, action.cut, action)
    cut = choose_cut([one.pictures for one in cameras], ask)
    if isinstance(cut, NoCut):
        helps = [HELPS[name] for name in cut.helps]
        first = cameras[0].spec
        finding = Finding(
            name="no_cut",
            severity="fault",
            subject_of=OF_CUT,
            numbers={"action": action.name, "helps": "; or ".join(helps)},
            source=THIS_TOOL,
        )
        plain = plain_finding(finding, entry_of(work.job, first))
        findings = dict(found.findings)
        findings[first.name] = [*findings.get(first.name, ()), plain]
        return replace(found, status=NO_CUT, helps=helps, findings=findings)
    pictures = _judged(work, action, {one.name: one for one in cameras}, cut)
    return replace(found, status=CUT, pictures=pictures, points=cut.points)


def cut_ask(work: Work, cut: CutSpec, action: ActionSpec) -> CutAsk:
    """Return how an action is to be cut, as the solver reads it."""
    start = action.frames[0]
    own = cut.weights.model_dump(exclude_none=True)
    costs = replace(
        cut_costs(work.job), **cut.cut_weights.model_dump(exclude_none=True)
    )
    return CutAsk(
        lengths=Lengths(
            median_s=cut.median_s,
            spread=cut.spread,
            shortest_s=cut.shortest_s,
            longest_s=cut.longest_s,
        ),
        beats=tuple(
            Beat(
                first=beat.frames[0] - start,
                last=beat.frames[1] - start,
                on=beat.on or ((beat.alone,) if beat.alone is not None else ()),
                alone=beat.alone is not None,
                camera=beat.camera or "",
            )
            for beat in cut.beats
        ),
        speeches=tuple(
            Speech(who=one.who, first=one.frames[0] - start, last=one.frames[1] - start)
            for one in cut.speaks
        ),
        first=cut.first or "",
        last=cut.last or "",
        pictures=replace(PictureCosts(), **own),
        cuts=costs,
    )


def _judged(
    work: Work, action: ActionSpec, cameras: Mapping[str, _Camera], cut: ChosenCut
) -> tuple[CutPicture, ...]:
    """Return the pictures of a cut, judged by the rules for cuts between shots."""
    start, scene = action.frames[0], ""
    shots = []
    for one in cut.pictures:
        camera = cameras[one.camera]
        first, last = start + one.first, start + one.last
        scene = camera.spec.scene.lower()
        ends = shot_ends(part_of(camera.take, first, last))
        name = f"{camera.spec.name} ({first}-{last})"
        shots.append(CutShot(name=name, scene=scene, elapsed=False, ends=ends))
    found = []
    for k, (one, shot, faulted) in enumerate(
        zip(cut.pictures, shots, cut_findings(shots), strict=True)
    ):
        camera = cameras[one.camera]
        own = [each for each in faulted if each.subject_of == OF_CUT]
        if one.missed:
            own.append(_missed(one))
        entry = replace(entry_of(work.job, camera.spec), shot=shot.name)
        news = cut_news(shots[k - 1], shot) if k else ()
        plain: list[PlainFinding] = [plain_finding(each, entry) for each in own]
        found.append(
            CutPicture(
                shot=camera.spec.name,
                camera=one.camera,
                frames=(start + one.first, start + one.last),
                parts=one.parts,
                cut=one.cut,
                brings=[each._asdict() for each in news],
                other_time=_other(one.other_time, start),
                other_camera=_other(one.other_camera, start),
                findings=plain,
            )
        )
    return tuple(found)


def _missed(one: HeldPicture) -> Finding:
    return Finding(
        name="beat_missed",
        severity="fault",
        subject_of=OF_CUT,
        numbers={"missed": one.missed},
        source=THIS_TOOL,
    )


def _other(other: OtherCut | None, start: int) -> dict[str, Any] | None:
    if other is None:
        return None
    return {"frame": start + other.frame, "camera": other.camera, "more": other.more}
