"""Says why a shot has its setup: the points of winner and runner-up, and the sheet."""

import json
from collections.abc import Iterator, Mapping

from ..errors import InputError
from ..job.rig import RIGS, DollyRig
from ..job.setup import SetupSpec
from ..takes.claim_words import outcome_line
from ..takes.news_words import news_line
from ..takes.row_setup import setup_in_row
from ..takes.runner_up import RunnerUp
from ..takes.sequence_table import WITHOUT_TAKE, ShotRow
from ..takes.store import Store
from ..takes.take_file import read_take
from .grip_sheet import grip_sheet_of

PARTS = {
    "out_of_frame": "head out of frame",
    "headroom": "headroom off what is asked",
    "size": "frames in which the size is not kept",
    "size_error": "size error, r.m.s.",
    "angle": "frames that miss the asked angle",
    "decisions": "decisions of operator and grip",
    "drift": "widest drift",
    "rig": "the rig and the metres it covers",
    "reversals": "the dolly, the pan or the tilt turning back",
    "ripple": "pan rate off the subject's while it moves evenly",
    "strobing": "fastest pan",
    "swing": "pan through a wide angle",
    "lens": "a lens that draws attention",
    "room": "room that the distance needs",
    "near": "coming close",
    "hidden": "something in the line of sight",
    "blocked": "somebody else in the line of sight",
    "taken_out": "wild walls that are taken out",
    "refused": "plans that limits refused",
    "view": "frames off the asked view",
    "side_of_face": "how much of the face the view shows",
    "claims": "claims that the picture misses",
    "crosses_line": "crossing the line of action",
    "near_axis": "changing sides near the line",
    "screen_direction": "screen direction turning round",
    "thirty_degrees": "a turn of less than 30 degrees",
    "same_picture": "nearly the same picture",
    "size_jump": "a jump in size",
    "eye_jump": "how far the eye jumps",
    "matched_reverse": "answering the shot before in lens and height",
    "same_view": "the same view again",
    "lens_run": "one lens three times running",
    "lens_use": "the sequence's habits",
}
"""What each part of a score and of a cut's cost is for, in words."""


def explain_lines(row: ShotRow, store: Store) -> Iterator[str]:
    """Yield why a shot is filmed as it is, and its grip's sheet, line by line."""
    yield f"{row.shot} ({row.status})"
    if row.status in WITHOUT_TAKE:
        yield from (f"  {line}" for line in (row.error or "").splitlines())
        return
    setup = setup_in_row(row.setup)
    assert setup is not None  # who has a take has a setup
    yield f"  {setup_words(setup)}"
    if row.why is None:
        yield "  The job fixes this setup."
    else:
        why = json.loads(row.why)
        yield (
            f"  {why['score']:.2f} points (fewer are better), the choice among "
            f"{why['candidates']} that hold the shot, of {why['tried']} simulated"
        )
        yield from _points(why["parts"])
        if why["cut"]:
            yield f"  and {sum(why['cut'].values()):.2f} for the cut into it"
            yield from _points(why["cut"])
        if why["kept"]:
            yield "  It is last night's setup; no other beat it by the margin."
        yield from _runner_up(row)
    if row.brings != "[]":
        yield f"  The cut into it brings: {news_line(json.loads(row.brings))}"
    outcomes = json.loads(row.claims)
    if outcomes:
        yield "  What it must tell"
        yield from (f"    {outcome_line(one)}" for one in outcomes)
    yield "  Grip's sheet"
    try:
        sheet = grip_sheet_of(read_take(store.take(row.shot)))
    except InputError as error:
        yield f"    {error}"
        return
    yield from (f"    {line}" for line in sheet["words"])


def _runner_up(row: ShotRow) -> Iterator[str]:
    if row.runner_up is None:
        yield "  No setup of another rig, view or lens holds the shot."
        return
    other = RunnerUp.from_plain(json.loads(row.runner_up))
    yield f"  Runner-up: {setup_words(other.setup)}"
    tie = ", a matter of taste" if other.tie else ""
    dearer = f"; {other.words}{tie}" if other.words else tie
    yield f"  {other.score:.2f} points{dearer}"
    yield from _points(other.parts)


def _points(parts: Mapping[str, float]) -> Iterator[str]:
    for name, points in sorted(parts.items(), key=lambda part: -abs(part[1])):
        yield f"    {points:7.2f}  {PARTS.get(name, name)}"


def setup_words(setup: SetupSpec) -> str:
    """Return a setup in a line, places in scene units."""
    rig = setup.rig
    where = RIGS[rig.kind].where(rig)
    if isinstance(rig, DollyRig) and rig.follow != 1.0:
        where += f", covering {100 * rig.follow:.0f} % of the way"
    view, named = "", setup.view
    if named is not None:
        asked = named.replace("_", " ") if isinstance(named, str) else f"{named:g} deg"
        view = f", {asked} from the {setup.side}"
    size = "" if setup.size is None else f", {setup.size}"
    return f"{setup.lens_mm:g} mm{size}, {where}{view}"
