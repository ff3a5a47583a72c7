"""What came of judging one shot: the setups it can have, as a small JSON file.

    OUT/<sequence>/candidates/<shot>.json

It is the truth between judging a shot and choosing across cuts, wherever either is
done, and spares a shot whose inputs are the same the next night.
"""

from dataclasses import dataclass, field, fields
from typing import Any

from pydantic_core import from_json, to_json

from ..places.atomic import write_whole
from ..places.object_errors import StoreError
from ..places.place import Place

JUDGEMENT_SCHEMA = "carrellata.candidates/1"


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """One setup that was worked and judged.

    Attributes:
        setup: as it would stand in the job file.
        score: points, lower is better; parts: the same by name.
        numbers: what it did, by name, with units in the names.
        ends: how the cut begins and ends, see `ShotEnds.plain`.
    """

    setup: dict[str, Any]
    score: float
    parts: dict[str, float]
    numbers: dict[str, float]
    ends: dict[str, Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class Judgement:
    """The setups of one shot, best first.

    Attributes:
        shot: its name.
        key: digest of all that the judgement depends on.
        judge_key: of the shot itself; None where its data is faulty.
        candidates: setups that hold, at least one unless there is an error.
        kept: index of last night's setup among them.
        unchanged: whether last night's take has the same inputs.
        n_tried: setups that were worked.
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

    def write(self, path: Place) -> None:
        """Write the judgement whole.

        Raises:
            OSError: it could not be written; the file at `path` is as it was.
        """
        values = {"schema": JUDGEMENT_SCHEMA, **_plain(self)}
        values["candidates"] = [_plain(each) for each in self.candidates]
        # Where a loss of power spoils it, the shot is judged again. It is thousands of
        # numbers, which Python's own encoder takes five times as long to write.
        write_whole(path, to_json(values), flush=False)


def _plain(values: Judgement | Candidate) -> dict[str, Any]:
    """Return fields by name, not copied as they are written at once."""
    return {each.name: getattr(values, each.name) for each in fields(values)}


def read_judgement(path: Place) -> Judgement | None:
    """Read a judgement, or return None where there is none that is whole.

    Raises:
        StoreError: an object store does not answer, so that nobody knows.
    """
    try:
        values = from_json(path.read_bytes())
        if values.pop("schema") != JUDGEMENT_SCHEMA:
            return None
        candidates = tuple(Candidate(**each) for each in values.pop("candidates"))
        return Judgement(**values, candidates=candidates)
    except StoreError:
        raise
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
