"""Shots that share a setup by letter: searched once each, and told why they can't."""

from pathlib import Path
from typing import Any

import pytest
from job_tables import a_job
from sound_job import good_shot, walk, write_table

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.rig import SticksRig
from carrellata.jobs.job.setup import SetupSpec
from carrellata.jobs.run import searched
from carrellata.jobs.run.choose import letter_words
from carrellata.jobs.run.judge_once import judge_shot
from carrellata.jobs.run.solve_shot import Work
from carrellata.jobs.takes.judgement import Candidate, Judgement
from carrellata.jobs.takes.store import Store

NAMES = ("010", "020", "030", "040")


def lettered(name: str, **fields: Any) -> dict[str, Any]:
    first = 1001 + 8 * NAMES.index(name)
    return good_shot(
        name=name,
        frames=[first, first + 71],
        rig={"kind": "choose", "kinds": ["sticks"]},
        view="profile",
        side="right",
        setup="A",
        **fields,
    )


def work_of(folder: Path, name: str) -> Work:
    job = parse_job(a_job(*map(lettered, NAMES)))
    return Work(job=job, folder=folder, store=Store(folder=folder / name))


def test_each_shot_of_a_letter_is_searched_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_table(tmp_path / "good.parquet", walk())
    count = 0
    search = searched.candidates_of_sizes

    def counted(*given: Any, **options: Any) -> Any:
        nonlocal count
        count += 1
        return search(*given, **options)

    monkeypatch.setattr(searched, "candidates_of_sizes", counted)
    searched._found.clear()
    work = work_of(tmp_path, "together")
    together = [judge_shot(work, spec) for spec in work.job.shots]
    assert count == len(NAMES)
    work = work_of(tmp_path, "apart")
    apart = []
    for spec in work.job.shots:
        searched._found.clear()
        apart.append(judge_shot(work, spec))
    assert count == len(NAMES) + len(NAMES) ** 2
    assert together == apart
    assert all(each.candidates for each in together)


def test_little_is_kept_of_long_shots(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_table(tmp_path / "good.parquet", walk())
    monkeypatch.setattr(searched, "MOST_SAMPLES", 100)
    searched._found.clear()
    work = work_of(tmp_path, "long")
    assert judge_shot(work, work.job.shots[0]).candidates
    assert not searched._found


def judged(name: str, *heights: float) -> Judgement:
    setups = tuple(
        Candidate(
            setup=SetupSpec(
                rig=SticksRig(kind="sticks", at=(0.0, 0.0, height)), lens_mm=35.0
            ),
            score=1.0,
            parts={},
            numbers={},
            ends={},
        )
        for height in heights
    )
    return Judgement(shot=name, key=name, candidates=setups)


@pytest.mark.parametrize(
    ("heights", "words"),
    [
        (
            ((100, 120), (100, 130), (140,)),
            "2 hold 010, 2 hold 020, 1 hold 030; what would help: 030 without the "
            "letter (1 hold all others)",
        ),
        (
            ((100,), (130,), (140,)),
            "1 hold 010, 1 hold 020, 1 hold 030; what would help: another letter for "
            "one of 010 and 020; another letter for one of 010 and 030; another letter "
            "for one of 020 and 030",
        ),
    ],
)
def test_a_letter_without_a_common_setup_says_what_would_help(
    heights: tuple[tuple[float, ...], ...], words: str
) -> None:
    job = parse_job(a_job(*map(lettered, NAMES[:3])))
    judgements = {
        name: judged(name, *each) for name, each in zip(NAMES[:3], heights, strict=True)
    }
    said = letter_words(job, judgements, job.shots[0])
    assert said == f'no setup holds all shots of setup "A" in main: {words}'
