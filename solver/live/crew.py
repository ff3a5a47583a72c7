"""A crew that works live: what it sees goes in tick by tick, and its poses come out.

The state is a value: a step returns another, and the one before stays as it is, so that
a step can be taken back, or two continuations be compared.
"""

from math import inf
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..crew.belief import CLOCK_S
from ..crew.observe import preroll_frames
from ..errors import SolverError
from ..shot import Shot
from .given import by_eye, packed_shot, rows_before, rows_to_start
from .state import (
    BASE,
    FOCUS,
    N_POSE,
    PAN,
    PLACE,
    POSE,
    RAIL,
    TILT,
    TIME,
    TURN,
    empty_state,
)
from .tick import see_crew, start_crew, step_crew
from .watch import SEEN_WIDTH


class StepState(NamedTuple):
    """A crew between two ticks.

    Attributes:
        numbers: all that it remembers, packed, read-only.
        at: where its pose begins among them; see `state`.
    """

    numbers: FloatArray
    at: int

    def _three(self, what: int) -> tuple[float, float, float]:
        x, y, z = self.numbers[self.at + what : self.at + what + 3].tolist()
        return x, y, z

    @property
    def pose(self) -> FloatArray:
        """All of the pose, (N_POSE,)."""
        return self.numbers[self.at : self.at + N_POSE]

    @property
    def time_s(self) -> float:
        """When the tick was [s]."""
        return float(self.numbers[self.at + TIME])

    @property
    def base(self) -> tuple[float, float, float]:
        """Lens without shake [m]."""
        return self._three(BASE)

    @property
    def place(self) -> tuple[float, float, float]:
        """Lens with shake [m]."""
        return self._three(PLACE)

    @property
    def turn(self) -> tuple[float, float, float, float]:
        """Final quaternion as x, y, z, w, sign-continuous."""
        at = self.at + TURN
        x, y, z, w = self.numbers[at : at + 4].tolist()
        return x, y, z, w

    @property
    def rail_m(self) -> float:
        """Where on its rail the dolly is [m]."""
        return float(self.numbers[self.at + RAIL])

    @property
    def pan_rad(self) -> float:
        """Pan without shake [rad]."""
        return float(self.numbers[self.at + PAN])

    @property
    def tilt_rad(self) -> float:
        """Tilt without shake [rad]."""
        return float(self.numbers[self.at + TILT])

    @property
    def focus_m(self) -> float:
        """Focus distance [m]."""
        return float(self.numbers[self.at + FOCUS])


class StepCrew:
    """The crew of a shot, for one tick at a time.

    It is `operate` to the bit, with the focus pulled by eye: the same kernels decide.
    It starts from the samples before its first frame and from the first two that show
    something new of every subject, as the pre-roll does, and reads no others.
    """

    def __init__(self, shot: Shot, samples_per_tick: int = 1) -> None:
        """Take a shot; of its subjects no more is read than the first samples.

        Args:
            shot: its setup is given.
            samples_per_tick: of a subject from one tick to the next, at most, >= 1.
        """
        self.shot = by_eye(shot)
        shape = self.shot.rig.shape
        self._rig = shape.origin, shape.direction, shape.table
        self._fixed = packed_shot(self.shot)
        self._per_tick = samples_per_tick
        empty = empty_state(self.shot, samples_per_tick)
        self._pose = int(empty[3 * POSE])

    def start(self) -> StepState:
        """Return the state before the first frame of the take, handles included."""
        shot = self.shot
        numbers = empty_state(shot, self._per_tick)
        rows = [rows_to_start(one) for one in shot.subjects]
        for k, count in enumerate(rows):
            for i in range(count):
                self._keep(numbers, k, i)
        start_crew(self._fixed, numbers)
        first, preroll = shot.first - shot.handles[0], preroll_frames(shot)
        ends = [rows_before(one, shot.time_of(float(first))) for one in shot.subjects]
        nothing = np.zeros(len(shot.subjects) * SEEN_WIDTH)
        for frame in range(first - preroll, first):
            now = shot.time_of(float(frame)) + CLOCK_S
            self._keep_until(numbers, rows, ends, now)
            step_crew(*self._rig, self._fixed, numbers, nothing, False)
        self._keep_until(numbers, rows, ends, inf)
        return self._state(numbers)

    def _keep_until(
        self, numbers: FloatArray, rows: list[int], ends: list[int], now: float
    ) -> None:
        """Keep samples from `rows` on that are no later than now [s]."""
        for k, one in enumerate(self.shot.subjects):
            while rows[k] < ends[k] and one.times_s[rows[k]] <= now:
                self._keep(numbers, k, rows[k])
                rows[k] += 1

    def _keep(self, numbers: FloatArray, k: int, i: int) -> None:
        """Keep sample i of subject k."""
        one = self.shot.subjects[k]
        given, at = np.zeros(len(self.shot.subjects) * SEEN_WIDTH), k * SEEN_WIDTH
        head = 1.0, one.times_s[i], one.fresh[i], one.facing_rad[i]
        given[at : at + SEEN_WIDTH] = *head, *one.floor[i], *one.eyes[i]
        self._refuse_full(see_crew(self._fixed, numbers, given))

    def see(self, state: StepState, given: ArrayLike) -> StepState:
        """Return the state after something was seen between two ticks.

        Args:
            state: as it is.
            given: SEEN_WIDTH numbers for each subject in turn; see `watch`.
        """
        numbers = state.numbers.copy()
        self._refuse_full(see_crew(self._fixed, numbers, np.array(given)))
        return self._state(numbers)

    def step(self, state: StepState, given: ArrayLike) -> StepState:
        """Return the state after the next tick, at which this was seen.

        Args:
            state: as it is.
            given: SEEN_WIDTH numbers for each subject in turn; see `watch`.
        """
        numbers = state.numbers.copy()
        full = step_crew(*self._rig, self._fixed, numbers, np.array(given), True)
        if full >= 0:
            self._refuse_full(full)
        return self._state(numbers)

    def _state(self, numbers: FloatArray) -> StepState:
        numbers.flags.writeable = False
        return StepState(numbers, self._pose)

    def _refuse_full(self, subject: int) -> None:
        if subject >= 0:
            message = (
                f"{self.shot.subjects[subject].name}: more than "
                f"{self._per_tick} samples from one tick to the next"
            )
            raise SolverError(message)
