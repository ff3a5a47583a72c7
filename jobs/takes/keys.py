"""Names of results: what a take was made from, as digests.

Only what can change the take counts. Its neighbours, its scene and the words that
travel with it do not, nor does where a subject's file lies: its bytes are in the key.
A program counts by its source and the sources of all that it imports, so a change in
what makes takes gives new keys, and a change elsewhere does not.
"""

import hashlib
import json
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from ...solver.compiled.kernel import sources_of
from ..job.setup import SETUP_FIELDS, SetupSpec
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.subject import SubjectSpec

_NOT_IN_KEY = {
    "accept",
    "camera",
    "cut",
    "intent",
    "keep_setup",
    "lock",
    "purpose",
    "scene",
    "setup",
    "subjects",
    "take",
    "takes",
}
SET_INPUT = "stage.set"
"""Stands for the set among inputs; no subject can have this name."""
_PACKAGE = Path(__file__).resolve().parents[2]
MAKES_TAKES = ("jobs/run/make_take.py", "jobs/takes/parquet_form.py")
"""What a take's bytes come from, with all that these import."""
JUDGES = ("jobs/run/judge_shot.py",)
"""What judges the setups of an open shot, with all that it imports."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """Digests of one shot, hexadecimal SHA-256.

    Attributes:
        judge: of this shot's inputs, and of what judges its setup where it is open.
        take: of the same, the setup that was chosen and the number of the take.
    """

    judge: str
    take: str


def canonical(value: object) -> str:
    """Return JSON that is the same for equal values.

    Raises:
        ValueError: a number in it is not finite.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def plain_fields(values: Any) -> dict[str, Any]:
    """Return a dataclass's fields by name, not copied, for what is written at once."""
    return {each.name: getattr(values, each.name) for each in fields(values)}


def keys_of(job: JobFile, spec: ShotSpec, inputs: dict[str, str]) -> Keys:
    """Return both keys of a shot whose setup stands in the job.

    Args:
        job: the checked job.
        spec: the shot.
        inputs: digest of the bytes read for each subject, by name, and of the set.
    """
    judge = judge_key(job, spec, inputs)
    return Keys(judge=judge, take=take_key(judge, setup_of(spec), spec.take or 1))


def judge_key(job: JobFile, spec: ShotSpec, inputs: dict[str, str]) -> str:
    """Return the digest of all that a shot's takes depend on, but for their setup."""
    shot = spec.model_dump(mode="json", by_alias=True, exclude=_NOT_IN_KEY)
    shot["stage"].pop("set")  # its digest is among the inputs
    camera = {
        "gate": plain_fields(spec.camera.gate),
        "lenses": [lens.model_dump(mode="json") for lens in spec.lenses],
        "stop": spec.camera.stop,
        "coc_mm": spec.camera.coc_mm,
    }
    return digest(
        {
            "model": job.model,
            "program": program_digest(*MAKES_TAKES),
            "judged_by": judging_program() if spec.is_open else None,
            "sequence": job.sequence,
            "rate": str(job.rate),
            "seed": job.seed,
            "world": job.world.model_dump(mode="json"),
            "shot": shot,
            "camera": camera,
            "subjects": [_subject(subject) for subject in spec.subjects],
            "inputs": inputs,
        }
    )


def take_key(judge: str, setup: SetupSpec, take: int = 1) -> str:
    """Return the digest of a judge key, the chosen setup and a take's number."""
    number = {"take": take} if take > 1 else {}
    return digest({"judge": judge, "setup": setup.plain(), **number})


def setup_of(spec: ShotSpec) -> SetupSpec:
    """Return the setup of a shot that leaves none of it open."""
    assert not spec.is_open
    # Checked with the shot, so not once more.
    return SetupSpec.model_construct(
        **{name: getattr(spec, name) for name in SETUP_FIELDS},
        size=spec.framing.named_size,
    )


@cache
def solver_version() -> str:
    """Return a digest of the programs that judge setups and make takes."""
    return program_digest(*MAKES_TAKES, *JUDGES)


def judging_program() -> str:
    """Return a digest of the program that judges setups."""
    return program_digest(*JUDGES)


@cache
def program_digest(*modules: str, package: Path = _PACKAGE) -> str:
    """Return a digest of the sources of modules and of all that they import.

    Args:
        modules: paths of files below the package.
        package: the folder that holds `solver` and `jobs`.

    Raises:
        FileNotFoundError: there is no such module.
    """
    found = hashlib.sha256()
    for source in sources_of(*(package / name for name in modules)):
        found.update(source.relative_to(package).as_posix().encode())
        found.update(source.read_bytes())
    return found.hexdigest()[:16]


def _subject(subject: SubjectSpec) -> dict[str, Any]:
    """Return a subject's entry with its kind in place of its file or samples."""
    entry = subject.model_dump(mode="json", exclude={"file", "samples"})
    return {**entry, "suffix": subject.suffix}


def digest(value: object) -> str:
    """Return the SHA-256 of a value's canonical JSON, hexadecimal."""
    return hashlib.sha256(canonical(value).encode()).hexdigest()
