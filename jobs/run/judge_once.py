"""Judges a shot unless its judgement is there: the unit of work before the choice."""

from contextlib import suppress

from ...solver.errors import SolverError
from ..errors import ShotDataError
from ..job.shot import ShotSpec
from ..takes.judgement import Judgement
from ..takes.keys import digest, judge_key, judging_program
from ..takes.metadata import take_metadata
from .asks import ask_of
from .judge_shot import LastNight, Member, judge_group, with_last_night
from .solve_shot import Work


def judge_shot(work: Work, spec: ShotSpec) -> Judgement:
    """Return the setups that a shot can have, each simulated with the crew.

    A judgement that lies in the store for the same inputs is used again. Of a shot
    that shares its setup by letter, the setups of all shots of the letter are judged.

    Raises:
        ShotDataError: the data of its subjects cannot be used.
        SolverError: the solver cannot work with it.
        OSError: the judgement could not be written.
    """
    group = _group(work, spec)
    keys = [judge_key(work.job, one, read.inputs) for one, _, read in group]
    of_all = {"own": keys[0], "group": sorted(keys), "program": judging_program()}
    key, world = digest(of_all), work.job.world
    found = work.store.judgement(spec.name)
    if found is None or found.key != key:
        camera = work.job.action_of(spec.name) is not None
        found = judge_group(world, group, judges=keys, key=key, camera=camera)
        work.store.put_judgement(found)
    last = _last_night(work, spec)
    return found if last is None else with_last_night(world, group[0], found, last)


def _group(work: Work, spec: ShotSpec) -> list[Member]:
    """Return the shot and the others that share its setup, the shot first.

    Others whose data cannot be used are left out: they fail by themselves.

    Raises:
        ShotDataError: the data of the shot itself cannot be used.
    """
    group = [(spec, *ask_of(work.job, spec, work.folder, read=work.read))]
    others: list[ShotSpec] = []
    if spec.setup is not None and spec.is_open:
        others = [
            other
            for other in work.job.shots
            if other.name != spec.name
            and other.setup is not None
            and other.setup.lower() == spec.setup.lower()
            and other.scene.lower() == spec.scene.lower()
        ]
    for one in others:
        with suppress(ShotDataError, SolverError):
            group.append((one, *ask_of(work.job, one, work.folder, read=work.read)))
    return group


def _last_night(work: Work, spec: ShotSpec) -> LastNight | None:
    """Return what the current take of an open shot says, where it counts."""
    if spec.keep_setup.from_ == "none" or not spec.is_open:
        return None
    table = work.store.current(spec.name)
    if table is None:
        return None
    metadata = take_metadata(table)
    return LastNight(setup=metadata.setup, judge_key=metadata.keys.judge)
