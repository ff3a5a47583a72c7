"""Lines of action: between whom they run, and which are compared across a cut.

A pair has its line wherever both are in the action of a shot, whoever is followed. Who
has nobody in common with an earlier sight has a line of their own: along the travel,
else the last travel, else the gaze. At the start of a shot the camera's side of a line
is held against its side at the last sight of the same line in the scene:

- every pair of which both were in the action of an earlier shot, at the latest such;
- the own line of somebody, where nobody who is in the action now was in it with them
  at their latest sight.

The choice across cuts and the report of them both ask here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations
from math import atan2, cos, hypot, pi, radians, sin
from typing import Generic, NamedTuple, TypeVar

from .at_cut import ActionAtCut, bearing_rad, side_angle

NEAR_AXIS_RAD = radians(10)  # nearer the line than this, the side means little
PAIR_M = 0.3  # two people nearer than this give no line
MOST_PEOPLE = 8  # of a crowd, who is followed and the first others have lines
TURNED_RAD = pi / 2  # a line that turned further than this is another line

Sight = TypeVar("Sight")


class ActionLine(NamedTuple):
    """A line of action at one moment.

    Attributes:
        of: whose it is, `a` or `a|b`, names in order.
        kind: pair, travel, last_travel or facing.
        x, z: where it is looked at [m]: at who is followed, else between the two.
        bearing_rad: of a pair from the first name to the second.
    """

    of: str
    kind: str
    x: float
    z: float
    bearing_rad: float

    @property
    def people(self) -> tuple[str, ...]:
        """Whose it is."""
        return tuple(self.of.split("|"))

    def off_rad(self, lens: tuple[float, float, float]) -> float:
        """Return the bearing of a lens off the line, positive on its left."""
        bearing = bearing_rad(lens[0] - self.x, lens[2] - self.z)
        return side_angle(bearing, self.bearing_rad)

    def side(self, lens: tuple[float, float, float]) -> int:
        """Return the side of the line: 1 left, -1 right."""
        return 1 if sin(self.off_rad(lens)) >= 0 else -1

    def is_near(self, lens: tuple[float, float, float]) -> bool:
        """Tell whether the lens looks along the line, less than 10 degrees off it."""
        return abs(sin(self.off_rad(lens))) < sin(NEAR_AXIS_RAD)


def lines_of(end: ActionAtCut) -> dict[str, ActionLine]:
    """Return all lines of action at one end of a shot, by whose they are."""
    others = end.others[: MOST_PEOPLE - 1]
    places = {name: (x, z) for name, x, _, z, _, _ in others}
    places[end.subject] = end.place[0], end.place[2]
    found = {}
    for one, two in combinations(sorted(places), 2):
        (x, z), (to_x, to_z) = places[one], places[two]
        if hypot(to_x - x, to_z - z) < PAIR_M:
            continue
        at = (x + to_x) / 2, (z + to_z) / 2
        if end.subject in (one, two):
            at = places[end.subject]
        of, bearing = f"{one}|{two}", bearing_rad(to_x - x, to_z - z)
        found[of] = ActionLine(of, "pair", *at, bearing)
    own = {name: along for name, _, _, _, _, along in others}
    own[end.subject] = end.line_rad
    for name, along in own.items():
        if along is not None:
            kind = end.line if name == end.subject else "travel"
            found[name] = ActionLine(name, kind, *places[name], along)
    return found


def turned(one: ActionLine, two: ActionLine) -> bool:
    """Tell whether the line of action itself turned round between two sights."""
    turn = two.bearing_rad - one.bearing_rad
    return abs(atan2(sin(turn), cos(turn))) > TURNED_RAD


class Compared(NamedTuple, Generic[Sight]):
    """A line at the start of a shot, and its last sight before."""

    now: ActionLine
    before: ActionLine
    sight: Sight


@dataclass(slots=True)
class LineMemory(Generic[Sight]):
    """The last sight of each line of a scene, as its shots pass by."""

    _lines: dict[str, tuple[ActionLine, Sight]] = field(default_factory=dict)
    _company: dict[str, frozenset[str]] = field(default_factory=dict)

    def clear(self) -> None:
        """Forget all: time has elapsed."""
        self._lines.clear()
        self._company.clear()

    def compared(self, end: ActionAtCut) -> Iterator[Compared[Sight]]:
        """Yield the lines that the start of a shot is held against."""
        lines = lines_of(end)
        for of, line in lines.items():
            if of not in self._lines:
                continue
            if line.kind != "pair" and self._has_pair(of, lines):
                continue
            yield Compared(line, *self._lines[of])

    def _has_pair(self, name: str, lines: dict[str, ActionLine]) -> bool:
        """Tell whether somebody is compared by a pair with who was last there too."""
        company = self._company.get(name, frozenset()) - {name}
        return any(
            "|".join(sorted((name, other))) in lines
            and "|".join(sorted((name, other))) in self._lines
            for other in company
        )

    def see(self, end: ActionAtCut, sight: Sight) -> None:
        """Note the lines at the end of a shot."""
        lines = lines_of(end)
        for of, line in lines.items():
            self._lines[of] = line, sight
        people = frozenset(
            (end.subject, *(other[0] for other in end.others[: MOST_PEOPLE - 1]))
        )
        for name in people:
            self._company[name] = people
