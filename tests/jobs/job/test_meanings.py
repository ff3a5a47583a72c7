"""Words that a job does not know: what they most likely mean; lengths in feet."""

import re
from typing import Any

import pytest
from library_jobs import columns, one_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.lengths import metres_of
from carrellata.jobs.job.meanings import nearest
from carrellata.jobs.job.parse import parse_job


@pytest.mark.parametrize(
    ("word", "known", "meant"),
    [
        ("dolly", ("sticks", "track", "arc", "choose"), "track"),
        ("Tripod", ("sticks", "track", "arc", "choose"), "sticks"),
        ("MS", ("full", "medium", "close"), "medium"),
        ("close-up", ("full", "medium", "close"), "close"),
        ("meduim", ("full", "medium", "close"), "medium"),
        ("super35", ("super16", "super35-3perf", "super35-4perf"), "super35-4perf"),
        ("fps", ("rate", "seed"), "rate"),
        ("dolly", ("full", "medium"), None),
        ("zzzz", ("full", "medium"), None),
        ("", ("full", "medium"), None),
    ],
)
def test_a_word_is_understood_by_meaning_and_by_letters(
    word: str, known: tuple[str, ...], meant: str | None
) -> None:
    assert nearest(word, known) == meant


def faults_of(**shot: Any) -> dict[str, str]:
    with pytest.raises(JobError) as refused:
        parse_job(one_shot(columns(), **shot))
    return {fault.path: fault.message for fault in refused.value.faults}


def test_a_refused_job_says_what_was_meant() -> None:
    found = faults_of(
        rig={"kind": "dolly"}, framing={"size": "MS"}, camera={"film_back": "super35"}
    )
    assert found["shots[0].rig.kind"].endswith('did you mean "track"')
    assert found["shots[0].framing.size"].endswith('did you mean "medium"')
    assert found["shots[0].camera.film_back"].endswith('did you mean "super35-4perf"')
    assert (
        'did you mean "lens_mm"' in faults_of(focal_length=35)["shots[0].focal_length"]
    )


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("12ft 6in", 12.5 * 0.3048),
        ("12' 6\"", 12.5 * 0.3048),
        ("12 feet", 12 * 0.3048),
        ("30in", 30 * 0.0254),
        ("-1ft", -0.3048),
        ("5.5 ft", 5.5 * 0.3048),
        ("12", None),
        ("", None),
        ("ft", None),
        ("6in 12ft", None),
    ],
)
def test_a_length_in_feet_and_inches(text: str, metres: float | None) -> None:
    assert metres_of(text) == (None if metres is None else pytest.approx(metres))


def test_lengths_in_feet_stand_where_metres_or_scene_units_do() -> None:
    rig = {"kind": "track", "from": [0, "5ft", "26ft 3in"], "to": ["8ft", "5ft", 8]}
    job = one_shot(columns(), rig=rig)
    job["world"]["metres_per_unit"] = 0.01
    job["shots"][0]["subjects"][0]["height_m"] = "5ft 9in"
    shot = parse_job(job).shots[0]
    assert shot.subjects[0].height_m == pytest.approx(1.7526)
    setup = shot.asked_setup()
    assert setup["rig"]["from"] == pytest.approx([0, 152.4, 800.1])
    assert setup["rig"]["to"] == pytest.approx([243.84, 152.4, 8])


def test_other_text_is_refused_as_before() -> None:
    found = faults_of(rig={"kind": "sticks", "at": [0, "five feet", 8]})
    (message,) = found.values()
    assert re.match("must be a number of scene units", message)
