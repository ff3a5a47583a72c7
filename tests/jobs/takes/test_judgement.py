"""Judgements on disk: read as they were written, or not at all."""

import json
from pathlib import Path

import numpy as np
import pytest

from carrellata.jobs.job.rig import SticksRig
from carrellata.jobs.job.setup import SetupSpec
from carrellata.jobs.takes.judgement import Candidate, Judgement
from carrellata.jobs.takes.store import Store

NUMBERS = (0.1, -0.0, 1e-5, 1e22, 5e-324, 1 / 3, np.nextafter(1.0, 2.0), 2**53 - 1.0)


def a_judgement() -> Judgement:
    candidates = tuple(
        Candidate(
            setup=SetupSpec(
                rig=SticksRig(kind="sticks", at=(number, 2.0, -3.0)), lens_mm=50.0
            ),
            score=number,
            parts={"drift": number, "a name\u2026": 0.0},
            numbers={"hidden": 1 - number},
            ends={"first": {"u": None, "subject": "b"}, "last": {}, "people": []},
        )
        for number in NUMBERS
    )
    return Judgement(shot="010", key="k", candidates=candidates, kept=1, n_tried=9)


def test_a_judgement_is_read_as_it_was_written(tmp_path: Path) -> None:
    store, judgement = Store(folder=tmp_path), a_judgement()
    store.put_judgement(judgement)
    found = store.judgement("010")
    assert found == judgement
    scores = [str(float(each.score)) for each in found.candidates]
    assert scores == [str(float(number)) for number in NUMBERS]
    written = json.loads((tmp_path / "candidates/010.json").read_bytes())
    assert written == {"schema": "carrellata.candidates/1", **judgement.plain()}
    assert written["candidates"][0]["setup"] == {
        "rig": {"kind": "sticks", "at": [0.1, 2.0, -3.0]},
        "lens_mm": 50.0,
        "height": None,
        "size": None,
        "side": None,
        "view": None,
    }
    assert [each["numbers"]["hidden"] for each in written["candidates"]] == [
        1 - number for number in NUMBERS
    ]


@pytest.mark.parametrize("share", [0.0, 0.5, 0.999])
def test_a_judgement_that_is_cut_short_is_none(tmp_path: Path, share: float) -> None:
    store = Store(folder=tmp_path)
    store.put_judgement(a_judgement())
    place = tmp_path / "candidates/010.json"
    data = place.read_bytes()
    place.write_bytes(data[: int(share * len(data))])
    assert store.judgement("010") is None


@pytest.mark.parametrize("text", ["[]", "null", "{}", '{"schema":"other"}', "\x00"])
def test_what_is_no_judgement_is_none(tmp_path: Path, text: str) -> None:
    store, place = Store(folder=tmp_path), tmp_path / "candidates/010.json"
    assert store.judgement("010") is None
    place.parent.mkdir()
    place.write_text(text)
    assert store.judgement("010") is None
