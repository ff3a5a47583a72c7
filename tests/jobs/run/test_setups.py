"""What of a setup a job leaves open, and what shots of one letter share."""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from job_tables import ACCEPTED, a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.carry import FINDING_NAMES
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.rig import TrackRig
from carrellata.jobs.job.rig_choice import ChooseRig
from carrellata.jobs.job.shot import SETUP_FIELDS, ShotSpec
from carrellata.jobs.takes.keys import judge_key
from carrellata.solver.cuts import findings

CHOOSE = {"kind": "choose"}
TRACK = {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]}
STICKS = {"kind": "sticks", "at": [0, 0, 150]}


def shot_of(**fields: Any) -> ShotSpec:
    return parse_job(a_job(a_shot(**fields))).shots[0]


def faults_of(job: dict[str, Any]) -> list[str]:
    with pytest.raises(JobError) as caught:
        parse_job(job)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("fields", "left_open"),
    [
        ({}, set()),
        ({"rig": CHOOSE}, {"rig", "height", "side", "view"}),
        ({"rig": CHOOSE, "lens_mm": "choose"}, set(SETUP_FIELDS)),
        ({"rig": CHOOSE, "height": 160}, {"rig", "side", "view"}),
        ({"rig": CHOOSE, "view": "profile", "side": "left"}, {"rig", "height"}),
        ({"lens_mm": "choose"}, {"lens_mm"}),
        ({"height": "choose"}, {"height"}),
        ({"rig": TRACK | {"hold": "view"}, "view": "choose"}, {"view"}),
        (
            {"rig": TRACK | {"hold": "view"}, "view": "rear", "side": "choose"},
            {"side"},
        ),
        # A fixed rig that does not hold the view leaves no side and no view to choose.
        ({"side": "choose", "view": "choose"}, set()),
        ({"rig": STICKS, "side": "choose"}, set()),
    ],
)
def test_what_is_left_open_is_what_the_job_says(
    fields: dict[str, Any], left_open: set[str]
) -> None:
    shot = shot_of(**fields)
    assert shot.open_fields == left_open
    assert shot.is_open is bool(left_open)


def test_a_chosen_rig_may_be_any_unless_its_kinds_are_named() -> None:
    whole, named = (
        shot_of(rig=CHOOSE | fields).rig
        for fields in ({}, {"kinds": ["arc", "track"], "hold": "size"})
    )
    assert isinstance(whole, ChooseRig)
    assert isinstance(named, ChooseRig)
    assert (whole.kinds, whole.hold) == (("sticks", "track", "arc"), None)
    assert (named.kinds, named.hold) == (("arc", "track"), "size")


def test_a_lens_to_choose_is_any_of_the_kit_that_opens_to_the_stop() -> None:
    lenses = [{"mm": 50}, {"mm": 25, "widest_stop": 2.8}, {"mm": 35, "widest_stop": 2}]
    camera = {"film_back": "super35-4perf", "lenses": lenses, "stop": 2}
    shot = parse_job(a_job(a_shot(lens_mm="choose"), camera=camera)).shots[0]
    assert [lens.mm for lens in shot.lenses] == [35, 50]
    assert [lens.mm for lens in shot_of(lens_mm="choose").lenses] == [18, 25, 35, 50]
    assert [lens.mm for lens in shot_of(lens_mm=35).lenses] == [35]


def test_a_stop_that_no_lens_opens_to_is_refused() -> None:
    camera = {"film_back": "super35-4perf", "lenses": [{"mm": 50}], "stop": 1}
    assert faults_of(a_job(a_shot(lens_mm="choose"), camera=camera)) == [
        "camera.stop: f/1 is wider than any lens of the kit opens (f/1.4)"
    ]


def test_an_open_job_written_out_reads_back_the_same() -> None:
    job = parse_job(
        a_job(
            a_shot(rig=CHOOSE, lens_mm="choose", view=30, setup="A"),
            a_shot(name="020", height="choose", side="choose"),
        )
    )
    assert parse_job(job.model_dump(mode="json", by_alias=True)) == job


def test_a_chosen_setup_closes_a_shot() -> None:
    shot = shot_of(rig=CHOOSE, lens_mm="choose")
    setup = {
        "rig": TRACK | {"hold": "view"},
        "lens_mm": 35.0,
        "height": None,
        "side": "left",
        "view": 40.0,
    }
    closed = shot.with_setup(setup)
    assert not closed.is_open
    assert isinstance(closed.fixed_rig, TrackRig)
    assert (closed.fixed_lens_mm, closed.side, closed.view) == (35, "left", 40)
    assert closed.model_copy(update={n: getattr(shot, n) for n in SETUP_FIELDS}) == shot


def test_what_is_left_open_is_in_the_key_and_accepted_findings_are_not() -> None:
    keys = {
        name: judge_key(job, job.shots[0], {})
        for name, job in {
            "plain": parse_job(a_job(a_shot(lens_mm="choose"))),
            "kit": parse_job(
                a_job(
                    a_shot(lens_mm="choose"),
                    camera={"film_back": "super35-4perf", "lens_kit_mm": [18, 35, 50]},
                )
            ),
            "fixed": parse_job(a_job(a_shot())),
            "floor": parse_job(
                a_job(a_shot(lens_mm="choose"), stage={"height_m": [0.3, 2.6]})
            ),
            "accepted": parse_job(a_job(a_shot(lens_mm="choose", accept=[ACCEPTED]))),
            "kept": parse_job(a_job(a_shot(lens_mm="choose", keep_setup=False))),
        }.items()
    }
    assert len({keys[name] for name in ("plain", "kit", "fixed", "floor")}) == 4
    assert keys["accepted"] == keys["kept"] == keys["plain"]


SETUP_FAULTS = [
    (
        {"rig": CHOOSE | {"kinds": []}},
        "rig.kinds: must have at least 1 values, got 0",
    ),
    (
        {"rig": CHOOSE | {"kinds": ["track", "track"]}},
        'rig.kinds[1]: "track" is there twice',
    ),
    ({"rig": CHOOSE | {"kind_s": []}}, 'rig.kind_s: unknown field; did you mean "kin'),
    ({"lens_mm": "chose"}, 'lens_mm: must be a number of mm or "choose", got "chose"'),
    (
        {"height": "any"},
        'height: must be a number of scene units or "choose", got "any"',
    ),
    ({"height": float("nan")}, "height: must be a finite number, got NaN"),
    ({"height": 1e10}, "height: must be <= 1000000000 scene units, got 100000000"),
    ({"side": "lft"}, 'side: must be one of "left", "right", "choose", got "lft"; did'),
    (
        {"view": "side"},
        'view: must be one of "front", "three_quarter", "profile", "rear", "choose" or',
    ),
    (
        {"rig": CHOOSE, "height": 400, "stage": {"height_m": [0.3, 2.6], "ground": 10}},
        "height: 400 scene units are 3.9 m above the ground, stage.height_m allows 0.3 "
        "to 2.6 m",
    ),
    ({"keep_setup": True}, "keep_setup: must be a table or false, got true"),
    (
        {"keep_setup": {"margin": 2}},
        "keep_setup.margin: must be <= 1, got 2",
    ),
    (
        {"keep_setup": {"form": "last"}},
        'keep_setup.form: unknown field; did you mean "from"',
    ),
    (
        {"accept": [{"finding": "crosses_line", "by": "me"}]},
        "accept[0].reason: is required",
    ),
    (
        {"accept": [ACCEPTED | {"finding": "cross_line"}]},
        'accept[0].finding: must name a finding such as "crosses_line", got '
        '"cross_line"; did you mean "crosses_line"',
    ),
    (
        {"accept": [ACCEPTED | {"finding": "zzz"}]},
        'accept[0].finding: must name a finding such as "crosses_line", got "zzz"',
    ),
    (
        {"accept": [ACCEPTED, ACCEPTED]},
        'accept[1].finding: "crosses_line" is accepted already',
    ),
    ({"accept": [ACCEPTED | {"reason": ""}]}, "accept[0].reason: must not be empty"),
    ({"habits": {}}, "habits: is a field of the file; put it at the top"),
]


@pytest.mark.parametrize(("fields", "line"), SETUP_FAULTS)
def test_a_fault_of_a_setup_is_one_sentence(fields: dict[str, Any], line: str) -> None:
    (fault,) = faults_of(a_job(a_shot(**fields)))
    assert fault.startswith(f"shots[0].{line}")


def test_keeping_last_nights_setup_is_the_default_and_can_be_switched_off() -> None:
    kept, off = shot_of().keep_setup, shot_of(keep_setup=False).keep_setup
    assert (kept.from_, kept.margin) == ("last", 0.15)
    assert off.from_ == "none"


def names_found(source: Path) -> Iterator[str]:
    """Yield the names of findings that a file of the solver makes."""
    tree = ast.parse(source.read_text(encoding="utf-8"))
    constants = {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            given = [word.value for word in node.keywords if word.arg == "name"]
            if node.func.id in ("_cut", "add"):
                given = node.args[:1]
            for name in given if node.func.id in ("_cut", "add", "Finding") else ():
                meant = constants.get(name.id) if isinstance(name, ast.Name) else name
                if isinstance(meant, ast.Constant):
                    yield str(meant.value)


def test_every_finding_that_the_solver_makes_can_be_accepted() -> None:
    solver = Path(findings.__file__).parent
    made = {
        name
        for path in solver.rglob("*.py")
        if "Finding" in path.read_text(encoding="utf-8")
        for name in names_found(path)
    }
    assert len(made) > 20
    assert made <= set(FINDING_NAMES)


def lettered(name: str, **fields: Any) -> dict[str, Any]:
    return a_shot(name=name, setup=fields.pop("setup", "A"), **fields)


def test_what_one_shot_of_a_letter_fixes_holds_for_the_others() -> None:
    job = parse_job(
        a_job(
            lettered("010", rig=CHOOSE, lens_mm=35),
            lettered("020", rig=TRACK, lens_mm="choose"),
            lettered("030", rig=CHOOSE, lens_mm="choose", setup="a"),
            lettered("040", rig=CHOOSE, lens_mm="choose", setup="B"),
            lettered("050", rig=CHOOSE, lens_mm="choose", scene="deck"),
        )
    )
    assert [shot.lens_mm for shot in job.shots] == [35, 35, 35, "choose", "choose"]
    assert [shot.rig.kind for shot in job.shots] == [*["track"] * 3, *["choose"] * 2]
    assert [shot.is_open for shot in job.shots] == [False, False, False, True, True]
    assert parse_job(job.model_dump(mode="json", by_alias=True)) == job


@pytest.mark.parametrize(
    ("first", "second", "line"),
    [
        (
            {"lens_mm": 35},
            {"lens_mm": 50},
            'lens_mm: is 50, shots[0] has 35; shots of setup "A" share rig, lens and '
            "height",
        ),
        ({"rig": TRACK}, {"rig": STICKS}, "rig: is another sticks, shots[0] has anoth"),
        ({"height": 120}, {}, "height: is that of its rig, shots[0] has 120; shots"),
        (
            {"rig": CHOOSE, "lens_mm": 35},
            {"rig": CHOOSE | {"kinds": ["arc"]}, "lens_mm": 35},
            "rig: is to be chosen among arc, shots[0] has to be chosen among sticks, t",
        ),
        (
            {"rig": TRACK},
            {"rig": CHOOSE, "view": "profile"},
            'view: needs a dolly with rig.hold = "view", or a rig to choose',
        ),
    ],
)
def test_shots_of_a_letter_that_differ_are_refused(
    first: dict[str, Any], second: dict[str, Any], line: str
) -> None:
    (fault,) = faults_of(a_job(lettered("010", **first), lettered("020", **second)))
    assert fault.startswith(f"shots[1].{line}")


def test_the_order_in_which_kinds_are_named_is_no_difference() -> None:
    kinds = (["track", "arc"], ["arc", "track"])
    shots = [
        lettered(name, rig=CHOOSE | {"kinds": some})
        for name, some in zip(("010", "020"), kinds, strict=True)
    ]
    assert all("rig" in shot.open_fields for shot in parse_job(a_job(*shots)).shots)
