"""Claims and intents in a job: what is taken, what is refused, and in which words."""

from pathlib import Path
from typing import Any

import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.shot import ShotSpec

COURIER = {"name": "courier", "file": "c.csv", "at": "floor", "height_m": 1.72}
GUARD = COURIER | {"name": "guard", "file": "g.csv"}
STAGE = {
    "keep_outs": [{"name": "kiosk", "from": [0, 0, 0], "to": [9, 9, 9]}],
    "props": [{"name": "clock", "at": [0, 0, 300]}],
}


def shot_of(*claims: Any, **fields: Any) -> ShotSpec:
    job = fields.pop("job", {})
    own = {"claims": list(claims)} if claims else {}
    shot = a_shot(subjects=[COURIER, GUARD], **own, **fields)
    return parse_job(a_job(shot, stage=STAGE, **job)).shots[0]


def fault_of(*claims: Any, **fields: Any) -> str:
    with pytest.raises(JobError) as caught:
        shot_of(*claims, **fields)
    (line,) = str(caught.value).splitlines()
    return line


def test_one_verb_a_table_or_a_verb_in_quotes() -> None:
    claims = shot_of(
        {"reveals": "guard", "by": 1100},
        {"together": ["courier", "guard"], "frames": [1110, 1120]},
        {"looms": "guard", "over": "courier", "must": False, "weight": 2},
        {"shows": "clock", "hold_s": 2},
        "closes_in",
    ).claims
    assert [claim.verb for claim in claims] == [
        "reveals",
        "together",
        "looms",
        "shows",
        "closes_in",
    ]
    assert claims[1].named == ("courier", "guard")
    assert claims[3].given == {"hold_s": 2.0}
    assert claims[4].named == ()


@pytest.mark.parametrize(
    ("claim", "words"),
    [
        ({"by": 1100}, "must have one verb of reveals, leaves"),
        ({"reveals": "guard", "leaves": "guard"}, "got reveals and leaves"),
        ({"together": ["courier", "guard"], "by": 1100}, "together has no by"),
        ({"still": True, "ratio": 2}, "still has no ratio; it takes pixels, frames"),
        ({"together": ["guard", "guard"]}, "needs two names at least"),
        ({"closes_in": "curier"}, 'not in the action of the shot (courier, guard)'),
        ({"looms": "guard", "over": "gaurd"}, 'did you mean "guard"'),
        ({"shows": "clok"}, "keep-out of the stage (clock, kiosk); did you mean"),
        ({"shows": "guard"}, "is not a prop or keep-out of the stage"),
        ("closes", 'did you mean "closes_in"'),
        ("shows", "must be a table or one of"),
        ({"reveals": "guard", "by": 900}, "900 is outside its frames (1001 to 1120)"),
        ({"still": True, "frames": [1001, 1121]}, "1121 is outside the cut"),
        ({"still": True, "frames": [1020, 1010]}, "frames must rise"),
        ({"small": "guard", "figure": 0}, "must be > 0"),
        ({"alone": 3}, "must be a name, or true"),
    ],
)  # fmt: skip
def test_what_a_claim_cannot_be_is_refused(claim: Any, words: str) -> None:
    line = fault_of(claim)
    assert line.startswith("shots[0].claims[0]")
    assert words in line


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ({"together": ["courier", "guard"]}, {"alone": "courier"}),
        ({"alone": "guard"}, {"alone": "courier"}),
        ({"reveals": "guard"}, {"together": True}),
        ({"reveals": "guard"}, {"alone": "courier"}),
        ({"toward": "courier"}, "away"),
        ("crosses", {"toward": True}),
        ("closes_in", {"draws_back": "courier"}),
        ("still", {"closes_in": "guard"}),
        ({"looms": "guard", "over": "courier"}, {"looms": "courier", "over": "guard"}),
    ],
)
def test_claims_that_contradict_are_refused_with_both_named(one: Any, two: Any) -> None:
    for first, second in ((one, two), (two, one)):
        line = fault_of(first, second)
        assert line.startswith("shots[0].claims[1]: ")
        earlier, later = shot_of(first).claims[0], shot_of(second).claims[0]
        assert f"{later.words} contradicts {earlier.words}" in line


def test_claims_on_other_frames_or_people_do_not_contradict() -> None:
    assert len(
        shot_of(
            {"together": True, "frames": [1001, 1050]},
            {"alone": "courier", "frames": [1051, 1120]},
            {"closes_in": "guard"},
            {"draws_back": "courier"},
            {"toward": "courier"},
            {"away": "guard"},
        ).claims
    ) == 6  # fmt: skip


def test_who_is_only_present_is_not_followed() -> None:
    present = GUARD | {"present": True}
    shot = parse_job(a_job(a_shot(subjects=[present, COURIER]))).shots[0]
    assert [(one.share, one.must_hold) for one in shot.subjects] == [
        (0.0, False),
        (1.0, True),
    ]
    assert shot.followed == "courier"
    for fields, words in (
        ({"subjects": [COURIER, present | {"share": 0.5}]}, "only present"),
        (
            {
                "subjects": [COURIER, present],
                "cues": [{"frame": 1010, "subject": "guard"}],
            },
            "take that off to follow",
        ),
    ):
        with pytest.raises(JobError, match=words):
            parse_job(a_job(a_shot(**fields)))


THREAT = {
    "framing": {"size": "chest", "angle": "below"},
    "lens_mm": 35,
    "crew": {"preset": "sharp"},
    "claims": ["closes_in", {"looms": "guard", "over": "courier"}],
}
CALM = {"lens_mm": 25, "shake": "settled", "claims": [{"closes_in": True, "ratio": 2}]}
INTENTS = {"intents": {"threat": THREAT, "calm": CALM}}


def test_an_intent_lies_between_the_defaults_and_the_shot() -> None:
    fields = {"scene": "hall", "intent": "threat", "framing": {"size": "medium"}}
    job = INTENTS | {
        "scenes": {"hall": {"shake": "rough", "crew": {"preset": "brisk"}}}
    }
    shot = shot_of(**fields, job=job)
    assert shot.framing.size == "medium"
    assert shot.framing.angle == "below"
    assert shot.crew.preset == "sharp"
    assert shot.shake.level == "rough"
    assert shot.lens_mm == 50  # the shot's own
    assert [claim.words for claim in shot.claims] == [
        "closes_in",
        "looms guard over courier",
    ]


def test_the_later_intent_counts_and_claims_add_up() -> None:
    shot = shot_of({"small": "guard"}, intent=["threat", "calm"], job=INTENTS)
    assert shot.shake.level == "settled"
    assert [(claim.words, claim.ratio) for claim in shot.claims] == [
        ("looms guard over courier", None),
        ("closes_in", 2.0),
        ("small guard", None),
    ]
    assert shot_of(intent="threat", job=INTENTS, claims=[]).claims == ()


def test_faults_of_intents_are_told_where_they_stand() -> None:
    cases: list[tuple[dict[str, Any], dict[str, Any], str]] = [
        ({"intent": "treat"}, INTENTS, 'shots[0].intent: "treat" is no intent '
         '(threat, calm); did you mean "threat"'),
        ({}, {"intents": {"x": {"frames": [1, 2]}}}, "intents.x.frames: is no field"),
        ({}, {"intents": "style.toml"}, "intents: \"style.toml\" is read only"),
        ({"intent": "x"}, {"intents": {"x": {"shake": "loud"}}}, "intents.x.shake"),
        ({"intent": ["threat", "x"]},
         {"intents": {"threat": THREAT, "x": {"claims": ["still"]}}},
         "intents.x.claims[0]: still contradicts closes_in"),
    ]  # fmt: skip
    for fields, job, words in cases:
        assert words in fault_of(**fields, job=job)


def test_a_checked_job_reads_back_the_same() -> None:
    shot = a_shot(subjects=[COURIER, GUARD], intent="threat", claims=["toward"])
    job = parse_job(a_job(shot, stage=STAGE, **INTENTS))
    assert parse_job(job.model_dump(mode="json", by_alias=True)) == job


def test_intents_come_from_a_file_beside_the_job(tmp_path: Path) -> None:
    (tmp_path / "style.toml").write_text('[calm]\nlens_mm = 25\nclaims = ["still"]\n')
    (tmp_path / "job.toml").write_text(
        'schema = "carrellata.job/1"\nsequence = "s"\nrate = "24"\n'
        'intents = "style.toml"\n[world]\nup = "z"\nmetres_per_unit = 1\n'
        '[camera]\nfilm_back = "super35-4perf"\nlens_kit_mm = [25]\n'
        '[[shots]]\nname = "a"\nframes = [1, 2]\nintent = "calm"\n'
        'framing = { size = "full" }\nrig = { kind = "sticks", at = [0, 0, 1] }\n'
        'subjects = [{ name = "s", file = "s.csv", at = "floor", height_m = 1.7 }]\n'
    )
    shot = load_job(tmp_path / "job.toml").shots[0]
    assert shot.lens_mm == 25
    assert [claim.verb for claim in shot.claims] == ["still"]
