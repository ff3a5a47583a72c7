"""Shots of all kinds, sound ones and ones that are broken somewhere, by a seed.

A field that the job file itself refuses stops the whole job before anything is solved;
`odd_shots` leaves such shots out, so that what is left has to be met shot by shot.
"""

import copy
import random
from collections.abc import Callable
from typing import Any

from walks import walking_job, walking_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job

Table = dict[str, Any]
ODD = (0.0, -0.0, 1e-12, 1e-7, 1e-4, 0.05, 1.0, 17.3, 1e3, 1e6, 1e9, 1e15, -1.0, -1e6)


def _number(chance: random.Random) -> float:
    return chance.choice((*ODD, chance.uniform(-300, 300), chance.gauss(0.0, 1e4)))


def _point(chance: random.Random) -> list[float]:
    return [_number(chance) for _ in range(3)]


def _some_samples(shot: Table, chance: random.Random) -> None:
    """Spoil a part of the samples: their number, places, times or sight."""
    samples = shot["subjects"][0]["samples"]
    column = chance.choice(("x", "y", "z"))
    kind = chance.randrange(8)
    if kind == 0:
        samples[column][chance.randrange(len(samples["x"]))] = _number(chance)
    elif kind == 1:
        samples[column] = [_number(chance)] * len(samples["x"])
    elif kind == 2:
        unseen = chance.choice((0.0, 0.1, 0.9, 1.0))
        samples["visible"] = [chance.random() >= unseen for _ in samples["x"]]
    elif kind == 3:
        for name in samples:
            samples[name] = samples[name][: chance.choice((1, 2, 3, 20))]
    elif kind == 4:
        samples["frame"][5] = samples["frame"][4]
    elif kind == 5:
        samples["facing_deg"] = [_number(chance) for _ in samples["x"]]
    elif kind == 6:
        samples["frame"] = [k + 5000 for k in samples["frame"]]
    else:
        scale = chance.choice((1e-9, 1e-3, 1e3, 1e6))
        samples[column] = [scale * value for value in samples[column]]


def _second_subject(shot: Table, chance: random.Random) -> None:
    other = copy.deepcopy(shot["subjects"][0]) | {"name": "other"}
    other["share"] = chance.choice((0.0, 0.3, 1.0))
    if chance.random() < 0.5:
        other["samples"]["visible"] = [False] * len(other["samples"]["x"])
    if chance.random() < 0.3:
        other |= {"must_hold": True}
    shot["subjects"].append(other)


def _rig(shot: Table, chance: random.Random) -> None:
    kind = chance.choice(("sticks", "track", "arc", "near"))
    if kind == "sticks":
        shot["rig"] = {"kind": "sticks", "at": _point(chance)}
    elif kind == "track":
        shot["rig"] = {"kind": "track", "from": _point(chance), "to": _point(chance)}
    elif kind == "near":
        near = [0, 0, 150 + chance.choice((0.0, 1e-9, 0.05, 1.0))]
        shot["rig"] = {"kind": "track", "from": [0, 0, 150], "to": near}
    else:
        shot["rig"] = {
            "kind": "arc",
            "centre": [0, 0, 150],
            "radius": abs(_number(chance)),
            "start_deg": _number(chance),
            "sweep_deg": chance.choice((1e-7, 0.05, 1.0, 90.0, 359.0, -30.0)),
        }
    if kind != "sticks":
        shot["rig"]["hold"] = chance.choice(("abreast", "size", "view"))


def _words(shot: Table, chance: random.Random) -> None:
    name, value = chance.choice(
        (
            ("lens_mm", chance.choice((18, 25, 35, 50))),
            ("roll_deg", chance.uniform(-180, 180)),
            ("samples_per_frame", chance.choice((1, 2, 5))),
            ("handles", chance.choice((0, 1, 40, [3, 0]))),
            ("preroll", chance.choice((0, 10, 40))),
            ("frames", chance.choice(([1001, 1001], [1001, 1002], [900, 930]))),
            ("shake", chance.choice(("locked", "settled", "shoulder", "rough"))),
            ("crew", {"preset": chance.choice(("steady", "sharp", "heavy_head"))}),
            ("crew", {"operator": {"tolerance": abs(_number(chance))}}),
            ("crew", {"operator": {"reaction_s": abs(_number(chance))}}),
            ("crew", {"operator": {"max_speed": abs(_number(chance))}}),
            ("crew", {"grip": {"max_accel": abs(_number(chance))}}),
            ("framing", {"size": "close", "headroom": chance.random()}),
            ("framing", {"fill": chance.choice((1e-6, 0.01, 0.5, 1.0, 30.0))}),
            ("framing", {"size": "full", "place": [_number(chance), 0.3]}),
            ("framing", {"size": "full", "angle": chance.uniform(-90, 90)}),
            ("camera", {"stop": chance.choice((0.1, 2.8, 64.0))}),
            ("camera", {"squeeze": chance.choice((0.1, 1.0, 2.0, 8.0))}),
            ("camera", {"coc_mm": chance.choice((1e-6, 0.025, 3.0))}),
            ("lock", "0" * 64),
        )
    )
    shot[name] = value


def _body(shot: Table, chance: random.Random) -> None:
    subject = shot["subjects"][0]
    name, value = chance.choice(
        (
            ("height_m", abs(_number(chance))),
            ("at", chance.choice(("floor", "hips", "eyes", "head_top"))),
            ("share", abs(_number(chance))),
            ("holds", "keep"),
            ("limit_m_s", abs(_number(chance))),
        )
    )
    subject[name] = value


def _file(shot: Table, chance: random.Random) -> None:
    subject = shot["subjects"][0]
    del subject["samples"]
    subject["file"] = chance.choice(("no.csv", "no/such.parquet", "empty.csv"))


def _open(shot: Table, chance: random.Random) -> None:
    shot["rig"] = {"kind": "choose", "kinds": [chance.choice(("sticks", "track"))]}
    shot["scene"] = f"own-{shot['name']}"


CHANGES: tuple[Callable[[Table, random.Random], None], ...] = (
    *(_some_samples, _second_subject, _rig, _rig, _words, _words, _body, _file),
)


def odd_shots(count: int, seed: int, *, n_open: int = 0) -> list[Table]:
    """Return shots that a job may have, each changed in up to three places.

    Args:
        count: how many.
        seed: of the choice.
        n_open: of them, how many leave their rig open; they take longest.
    """
    chance = random.Random(seed)
    found: list[Table] = []
    while len(found) < count:
        name = f"s{len(found):04d}"
        shot = walking_shot(name, scene=f"scene-{len(found) % 7}")
        shot = copy.deepcopy(shot)
        for change in chance.sample(CHANGES, chance.randrange(4)):
            if "samples" in shot["subjects"][0] or change in (_rig, _words):
                change(shot, chance)
        if len(found) < n_open:
            _open(shot, chance)
        try:
            parse_job(walking_job(shot))
        except JobError:
            continue
        found.append(shot)
    return found
