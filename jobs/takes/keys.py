"""Names of results: what a take was made from, as digests.

Only what can change the take counts. Its neighbours, its scene and the words that
travel with it do not, nor does where a subject's file lies: its bytes are in the key.
A change in the programs that make takes gives new keys, so nothing stale is kept.
"""

import hashlib
import json
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.subject import SubjectSpec

_NOT_IN_KEY = {
    "accept",
    "camera",
    "cut",
    "keep_setup",
    "lock",
    "purpose",
    "scene",
    "setup",
    "subjects",
}
_MAKES_TAKES = ("solver/**/*.py", "jobs/subjects/*.py")
_MAKES_TAKES_TOO = (
    "job/rig.py",
    "job/world.py",
    "run/shots.py",
    "takes/bodies.py",
    "takes/grip_metadata.py",
    "takes/keys.py",
    "takes/metadata.py",
    "takes/table.py",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """Digests of one shot, hexadecimal SHA-256.

    Attributes:
        judge: of this shot's inputs.
        take: of the same and the setup that was chosen.
    """

    judge: str
    take: str


def canonical(value: object) -> str:
    """Return JSON that is the same for equal values.

    Raises:
        ValueError: a number in it is not finite.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def keys_of(job: JobFile, spec: ShotSpec, inputs: dict[str, str]) -> Keys:
    """Return both keys of a shot whose setup stands in the job.

    Args:
        job: the checked job.
        spec: the shot.
        inputs: digest of the bytes read for each subject, by name.
    """
    judge = judge_key(job, spec, inputs)
    return Keys(judge=judge, take=take_key(judge, setup_of(spec)))


def judge_key(job: JobFile, spec: ShotSpec, inputs: dict[str, str]) -> str:
    """Return the digest of all that one shot's take depends on."""
    shot = spec.model_dump(mode="json", by_alias=True, exclude=_NOT_IN_KEY)
    camera = {
        "gate": asdict(spec.camera.gate),
        "lenses": [lens.model_dump(mode="json") for lens in spec.lenses],
        "stop": spec.camera.stop,
        "coc_mm": spec.camera.coc_mm,
    }
    return digest(
        {
            "model": job.model,
            "solver": solver_version(),
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


def take_key(judge: str, setup: dict[str, Any]) -> str:
    """Return the digest of a judge key and the setup that was chosen."""
    return digest({"judge": judge, "setup": setup})


def setup_of(spec: ShotSpec) -> dict[str, Any]:
    """Return the setup of a shot as plain values: rig, lens, height and view."""
    return spec.model_dump(
        mode="json",
        by_alias=True,
        include={"rig", "lens_mm", "height", "side", "view"},
    )


@cache
def solver_version() -> str:
    """Return a digest of the programs that make a take."""
    digest = hashlib.sha256()
    for source in sources_of_takes():
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def sources_of_takes() -> tuple[Path, ...]:
    """Return the source files that a take's bytes depend on."""
    jobs = Path(__file__).resolve().parents[1]
    found = [path for glob in _MAKES_TAKES for path in jobs.parent.glob(glob)]
    return (*sorted(found), *(jobs / name for name in _MAKES_TAKES_TOO))


def _subject(subject: SubjectSpec) -> dict[str, Any]:
    """Return a subject's entry with its kind in place of its file or samples."""
    entry = subject.model_dump(mode="json", exclude={"file", "samples"})
    return {**entry, "suffix": subject.suffix}


def digest(value: object) -> str:
    """Return the SHA-256 of a value's canonical JSON, hexadecimal."""
    return hashlib.sha256(canonical(value).encode()).hexdigest()
