"""What came of judging one shot: the setups it can have, as a small JSON file.

It is the truth between judging a shot and choosing across cuts, wherever either is
done, and spares a shot whose inputs are the same the next night. `Store` keeps it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Self

from pydantic_core import from_json, to_json

from ..job.setup import SetupSpec

JUDGEMENT_SCHEMA = "carrellata.candidates/1"


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """One setup that was simulated and judged.

    Attributes:
        setup: as it would stand in the job file.
        score: points, lower is better; parts: the same by name.
        numbers: what it did, by name, with units in the names.
        ends: how the cut begins and ends, see `ShotEnds.plain`.
    """

    setup: SetupSpec
    score: float
    parts: dict[str, float]
    numbers: dict[str, float]
    ends: dict[str, Any]

    def plain(self) -> dict[str, Any]:
        """Return the values that are written; see `from_plain`."""
        return {**_plain(self), "setup": self.setup.plain()}

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Self:
        """Return the candidate that `plain` gave.

        Raises:
            ValueError: its setup is none.
            TypeError: a field is missing or unknown.
        """
        setup = SetupSpec.model_validate(values.get("setup"))
        return cls(**{**values, "setup": setup})


@dataclass(frozen=True, kw_only=True, slots=True)
class Judgement:
    """The setups of one shot, best first.

    Attributes:
        shot: its name.
        key: digest of all that the judgement depends on.
        judge_key: of the shot itself; None where its data is faulty.
        candidates: setups that hold, at least one unless there is an error.
        kept: index of last night's setup among them; None in the file, since the same
            judgement serves every night.
        unchanged: whether last night's take has the same inputs; likewise.
        n_tried: setups that were simulated.
        status: `judged`, `no_setup`, or `failed` where the data is faulty.
        error: why there is no candidate, for people.
    """

    shot: str
    key: str
    judge_key: str | None = None
    candidates: tuple[Candidate, ...] = ()
    kept: int | None = None
    unchanged: bool = False
    n_tried: int = 0
    status: str = "judged"
    error: str | None = None
    relax: dict[str, Any] = field(default_factory=dict)

    def plain(self) -> dict[str, Any]:
        """Return the values that are written; see `from_plain`."""
        return {**_plain(self), "candidates": [one.plain() for one in self.candidates]}

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Self:
        """Return the judgement that `plain` gave.

        Raises:
            ValueError: the setup of a candidate is none.
            KeyError, TypeError: a field is missing or unknown.
        """
        found = tuple(Candidate.from_plain(each) for each in values["candidates"])
        return cls(**{**values, "candidates": found})

    def json(self) -> bytes:
        """Return the judgement as it is written."""
        values = {"schema": JUDGEMENT_SCHEMA, **self.plain()}
        # Thousands of numbers, which Python's own encoder takes five times as long for.
        return to_json(values)


def _plain(values: Judgement | Candidate) -> dict[str, Any]:
    """Return fields by name, not copied as they are written at once."""
    return {each.name: getattr(values, each.name) for each in fields(values)}


def judgement_of(data: bytes) -> Judgement | None:
    """Return the judgement that `json` gave, or None where it is not one, whole."""
    try:
        values = from_json(data)
        if values.pop("schema") != JUDGEMENT_SCHEMA:
            return None
        return Judgement.from_plain(values)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
