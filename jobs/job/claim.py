"""What a picture must tell: the claims of a shot, one verb a table.

`claims = [{ reveals = "guard", by = 1218 }, "still"]`. A verb alone, in quotes, is
about whoever the shot follows first.
"""

import difflib
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from ...solver.action.claim import CAMERA, PEOPLE, VERBS
from .framing import FrameNumber
from .locations import shown
from .quantities import Name, Number, Spec, Truth, refusal

WEIGHT = 3.0

_SETTINGS = ("frames", "must", "weight")
_LIMITS = tuple(dict.fromkeys(name for verb in VERBS.values() for name in verb.limits))

Share = Annotated[Number, Field(gt=0, le=1)]
Seconds = Annotated[Number, Field(gt=0, le=3600)]


def _who(value: Any) -> Any:
    if value is False or (isinstance(value, int | float) and value is not True):
        message = f"must be a name, or true for who is followed, got {shown(value)}"
        raise refusal(message)
    return value


Who = Annotated[
    Name | Literal[True],
    BeforeValidator(_who),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"const": True}]}),
]
Group = Annotated[
    tuple[Name, ...] | Literal[True],
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "array", "items": {"type": "string"}, "minItems": 2},
                {"const": True},
            ]
        }
    ),
]


class ClaimSpec(Spec):
    """One claim: a verb, whom it is about, and thresholds in place of its own."""

    reveals: Who | None = None
    """Not in the picture at first, in it by the end or the frame `by`."""
    leaves: Who | None = None
    """In the picture at first, out of it at the end or from the frame `by` on."""
    together: Group | None = None
    """All these heads are in the picture; true: everybody's."""
    alone: Who | None = None
    """This head is in the picture, and nobody else's."""
    looms: Who | None = None
    """The lens is under this one's eyes; larger and higher than `over`."""
    over: Name | None = None
    """For `looms`: whose eyes the lens is over where only they are shown."""
    small: Who | None = None
    """The figure takes at most `figure` of the frame height."""
    closes_in: Who | None = None
    """The camera's own move makes this one larger."""
    draws_back: Who | None = None
    """The camera's own move makes this one smaller."""
    toward: Who | None = None
    """Travels toward the lens."""
    away: Who | None = None
    """Travels away from the lens."""
    crosses: Who | None = None
    """Travels across the sight line."""
    still: Literal[True] | None = None
    """Neither pan nor tilt nor dolly moves the picture."""
    shows: Name | None = None
    """A prop or a keep-out of the stage is in frame and not hidden."""
    by: FrameNumber | None = None
    """For `reveals` and `leaves`: the frame by which it happens."""
    frames: tuple[FrameNumber, FrameNumber] | None = None
    """First and last frame that it is measured on; absent: the cut."""
    share: Share | None = None
    """Least share of the frames."""
    ratio: Annotated[Number, Field(gt=1, le=100)] | None = None
    """Least factor, of sizes or of distances."""
    degrees: Annotated[Number, Field(gt=0, le=90)] | None = None
    """Of the lens against the eye line; of travel off its direction."""
    figure: Annotated[Number, Field(gt=0, le=20)] | None = None
    """Most that the figure may take of the frame height."""
    pixels: Annotated[Number, Field(gt=0, le=2048)] | None = None
    """Most that anything may move, of a picture 2048 wide."""
    hold_s: Seconds | None = None
    """How long it has to be in the picture at least."""
    unseen_s: Seconds | None = None
    """How long it has to be out of it at the start, or at the end."""
    must: Truth = True
    """False: missing it costs points and is a warning."""
    weight: Annotated[Number, Field(ge=0, le=1000)] = WEIGHT
    """Points that missing it wholly costs, where it is no must."""

    @model_validator(mode="after")
    def _one_verb(self) -> Self:
        verbs = [name for name in VERBS if getattr(self, name) is not None]
        if len(verbs) != 1:
            given = f"got {' and '.join(verbs)}" if verbs else "got none"
            message = f"must have one verb of {', '.join(VERBS)}, {given}"
            raise refusal(message)
        verb = VERBS[verbs[0]]
        allowed = {*verb.limits, *(("by",) if verb.by else ())}
        if verbs[0] == "looms":
            allowed.add("over")
        for name in ("by", "over", *_LIMITS):
            if getattr(self, name) is not None and name not in allowed:
                message = f"{verbs[0]} has no {name}; it takes {_listed(allowed)}"
                raise refusal(message)
        if verb.about == PEOPLE and self.together is not True:
            people = self.together
            assert people is not None
            if len(set(people)) < 2:
                message = f"{verbs[0]} needs two names at least, got {len(people)}"
                raise refusal(message)
        if self.frames is not None and self.frames[1] < self.frames[0]:
            first, last = self.frames
            message = f"frames must rise, got {first} to {last}"
            raise refusal(message)
        return self

    @property
    def verb(self) -> str:
        """The one verb that is given."""
        return next(name for name in VERBS if getattr(self, name) is not None)

    @property
    def named(self) -> tuple[str, ...]:
        """Whom the verb names; empty where it is about who is followed."""
        value = getattr(self, self.verb)
        if value is True:
            return ()
        return tuple(value) if isinstance(value, tuple) else (value,)

    @property
    def given(self) -> dict[str, float]:
        """Thresholds in place of the verb's own."""
        limits = {name: getattr(self, name) for name in VERBS[self.verb].limits}
        return {name: value for name, value in limits.items() if value is not None}

    @property
    def words(self) -> str:
        """The claim as a short phrase, such as `closes_in courier`."""
        over = () if self.over is None else ("over", self.over)
        return " ".join((self.verb, *self.named, *over))


def _listed(names: set[str]) -> str:
    return ", ".join([*sorted(names), *_SETTINGS])


def _claim(value: Any) -> Any:
    """Turn a verb in quotes into its table."""
    if not isinstance(value, str):
        return value
    alone = [name for name, verb in VERBS.items() if verb.about != "place"]
    if value in alone:
        return {value: True}
    near = difflib.get_close_matches(value[:100], alone, n=1, cutoff=0.6)
    hint = f'; did you mean "{near[0]}"' if near else ""
    message = f"must be a table or one of {', '.join(alone)}, got {shown(value)}{hint}"
    raise refusal(message)


ClaimEntry = Annotated[
    ClaimSpec,
    BeforeValidator(_claim, json_schema_input_type=ClaimSpec | str),
]


def meets(claim: ClaimSpec, other: ClaimSpec) -> bool:
    """Tell whether two claims are measured on frames on which they could contradict."""
    turns = [each for each in (claim, other) if each.verb in ("reveals", "leaves")]
    if turns:  # with part of the frames there is a way to do both
        return all(each.frames is None for each in (claim, other) if each not in turns)
    if claim.frames is None or other.frames is None:
        return True
    return claim.frames[0] <= other.frames[1] and other.frames[0] <= claim.frames[1]


def contradict(
    claim: ClaimSpec, other: ClaimSpec, followed: str, everybody: tuple[str, ...]
) -> bool:
    """Tell whether no picture can tell both of two claims.

    Args:
        claim: one of them.
        other: the other one; either order gives the same.
        followed: who a claim without a name is about.
        everybody: in the action.
    """
    if not meets(claim, other):
        return False
    people = [_people(each, followed, everybody) for each in (claim, other)]
    both = {
        (claim.verb, other.verb): people,
        (other.verb, claim.verb): people[::-1],
    }
    return any(
        rule(*both[verbs]) for verbs, rule in _CONTRADICTIONS.items() if verbs in both
    ) or _loom_over_each_other(claim, other, people)


def _people(
    claim: ClaimSpec, followed: str, everybody: tuple[str, ...]
) -> frozenset[str]:
    if claim.named or VERBS[claim.verb].about == CAMERA:
        return frozenset(claim.named)
    return frozenset(everybody if claim.verb == "together" else (followed,))


def _loom_over_each_other(
    claim: ClaimSpec, other: ClaimSpec, people: list[frozenset[str]]
) -> bool:
    return (
        claim.verb == other.verb == "looms"
        and claim.over in people[1]
        and other.over in people[0]
    )


def _always(one: frozenset[str], two: frozenset[str]) -> bool:
    return True


def _same(one: frozenset[str], two: frozenset[str]) -> bool:
    return bool(one & two)


def _differ(one: frozenset[str], two: frozenset[str]) -> bool:
    return one != two


_CONTRADICTIONS = {
    ("together", "alone"): _always,
    ("alone", "alone"): _differ,
    ("reveals", "together"): _same,
    ("leaves", "together"): _same,
    ("reveals", "alone"): _always,
    ("leaves", "alone"): _always,
    ("toward", "away"): _same,
    ("toward", "crosses"): _same,
    ("away", "crosses"): _same,
    ("closes_in", "draws_back"): _same,
    ("still", "closes_in"): _always,
    ("still", "draws_back"): _always,
}


def pairs_of(claims: tuple[ClaimSpec, ...]) -> Iterator[tuple[int, int]]:
    """Yield the indices of every two claims, the later one second."""
    for k in range(len(claims)):
        for j in range(k):
            yield j, k
