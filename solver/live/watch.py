"""What a crew that works live sees: samples as they come, and what is believed of them.

A sample is perceived, and seen, as `variability` has it for whole shots; the filters,
fades and crests are those of `belief`, `persistence` and `blend`.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import ZERO, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..cosines import cosine_sums
from ..crew.belief import (
    CLOCK_S,
    TOLD,
    Samples,
    believed,
    first_step_s,
    start_filter,
    take_in,
)
from ..crew.blend import blend_models, steadied
from ..crew.decide import Seen
from ..crew.gains import Settled, settle
from ..crew.persistence import STEADY_S, fade_since
from ..crew.variability import EPOCH_S, SPEED_S, TIMING_S
from .given import (
    CLOCK,
    FIRST_EPOCH,
    FIRST_WATCH,
    LATENESS,
    LEAST_FADE,
    LEVEL,
    N_WATCHES,
    ODDS,
    OPERATOR,
    REACTION,
    STEADY_TIMES,
    TIMING_HZ,
    TIMING_SHARES,
    TIMING_TURNS,
    WATCHES,
    WATCHING,
    tick_time,
    watch_in,
)
from .packed import block, line
from .state import (
    BODY,
    COUNTS,
    CREST,
    FACING,
    FILTERS,
    FIRST_SPEED,
    N_FRESH,
    N_KEPT,
    N_SPEEDS,
    NEWEST,
    OLDEST,
    SAMPLE_S,
    SAMPLES,
    SEEN_S,
    SPEEDS,
    TAKEN,
)

# Of what was seen of a subject: whether it counts, its time, whether it shows something
# new, facing, floor and eyes.
GIVEN, GIVEN_S, GIVEN_NEW, GIVEN_FACING, GIVEN_BODY = range(5)
SEEN_WIDTH = 10


class Memory(NamedTuple):
    """What a crew remembers of what it sees, and by what it is read.

    Attributes:
        clock: block CLOCK of what is fixed.
        watches: block WATCHES, a row a model.
        members: block WATCHING, a row a member.
        counts, samples, filters, speeds, crests: these blocks of the state.
        ground: columns of floor and eyes that the first model of a member watches.
        heights: those that its others watch.
        speeds_of: columns of `speeds`: two of the ground's model.
    """

    clock: FloatArray
    watches: FloatArray
    members: FloatArray
    counts: FloatArray
    samples: FloatArray
    filters: FloatArray
    speeds: FloatArray
    crests: FloatArray
    ground: IntArray
    heights: IntArray
    speeds_of: IntArray


@kernel
def memory_of(fixed, state):
    """Return what is remembered: its arrays are views of the state."""
    return Memory(
        line(fixed, CLOCK),
        block(fixed, WATCHES),
        block(fixed, WATCHING),
        block(state, COUNTS),
        block(state, SAMPLES),
        block(state, FILTERS),
        block(state, SPEEDS),
        block(state, CREST),
        np.array([0, 2, 3, 5]),
        np.array([1, 4]),
        np.array([1, 2]),
    )


@kernel
def row_of(memory, subject, k):
    """Return the row of the kth sample of a subject, from the oldest that is kept."""
    most = memory.samples.shape[0] // memory.counts.shape[0]
    place = int(memory.counts[subject, OLDEST]) + k
    return subject * most + (place if place < most else place - most)


@kernel
def keep_sample(fixed, memory, subject, given):
    """Keep one row of what was seen of a subject; return whether there was room.

    One that is no newer than the newest is known already.
    """
    clock, counts, samples = memory.clock, memory.counts, memory.samples
    row = SEEN_WIDTH * subject
    time, level = given[row + GIVEN_S], clock[LEVEL]
    if not time > counts[subject, NEWEST]:
        return True
    counts[subject, NEWEST] = time
    members = memory.members.shape[0]
    for who in range(members):
        seen = time + memory.members[who, REACTION]
        if level != 0.0:
            epoch = int(np.floor(time / EPOCH_S) - clock[FIRST_EPOCH])
            seen += block(fixed, LATENESS)[who, epoch]
        at = TAKEN + 2 * who + 1
        counts[subject, at] = max(counts[subject, at], seen)
    if given[row + GIVEN_NEW] == 0.0:
        return True
    most = samples.shape[0] // counts.shape[0]
    kept = int(counts[subject, N_KEPT])
    if kept == most:
        return False
    at = row_of(memory, subject, kept)
    samples[at, SAMPLE_S], samples[at, FACING] = time, given[row + GIVEN_FACING]
    for c in range(6):
        samples[at, BODY + c] = given[row + GIVEN_BODY + c]
    for who in range(members):
        samples[at, SEEN_S + 3 * who] = counts[subject, TAKEN + 2 * who + 1]
        samples[at, SEEN_S + 3 * who + 1] = 0.0
        samples[at, SEEN_S + 3 * who + 2] = 0.0
    counts[subject, N_KEPT] = kept + 1
    counts[subject, N_FRESH] += 1
    if level != 0.0 and counts[subject, N_FRESH] > 1:
        k = kept - 1
        since = time - SPEED_S + 1e-9
        while k > 0 and samples[row_of(memory, subject, k), SAMPLE_S] > since:
            k -= 1
        before = row_of(memory, subject, k)
        misjudge(fixed, memory, subject, before, at, at)
        if counts[subject, N_FRESH] == 2:
            misjudge(fixed, memory, subject, before, at, before)
    return True


@kernel
def misjudge(fixed, memory, subject, before, now, row):
    """Fill by how much each member misjudges the place of a row of samples [m].

    The speed that the error grows with is that from one row to another.
    """
    samples = memory.samples
    span = samples[now, SAMPLE_S] - samples[before, SAMPLE_S]
    vx = (samples[now, BODY] - samples[before, BODY]) / span
    vz = (samples[now, BODY + 2] - samples[before, BODY + 2]) / span
    members = memory.members.shape[0]
    of = slice(subject * members, (subject + 1) * members)
    hertz, turns = block(fixed, TIMING_HZ)[of], block(fixed, TIMING_TURNS)[of]
    time, off, scale = np.empty(1), np.empty((members, 1)), np.empty(members)
    time[0], scale[:] = samples[row, SAMPLE_S], memory.clock[LEVEL] * TIMING_S
    cosine_sums(time, hertz, turns, line(fixed, TIMING_SHARES), scale, off)
    for who in range(members):
        samples[row, SEEN_S + 3 * who + 1] = off[who, 0] * vx
        samples[row, SEEN_S + 3 * who + 2] = off[who, 0] * vz


@kernel
def perceived(memory, row, who, points, i):
    """Fill row i of points, floor and eyes as a member perceives a sample [m]."""
    samples = memory.samples
    for c in range(6):
        points[i, c] = samples[row, BODY + c]
    if memory.clock[LEVEL] != 0.0:
        x, z = samples[row, SEEN_S + 3 * who + 1], samples[row, SEEN_S + 3 * who + 2]
        points[i, 0] += x
        points[i, 3] += x
        points[i, 2] += z
        points[i, 5] += z


@kernel
def start_filters(memory):
    """Start every filter with the first samples that are kept."""
    counts, watches = memory.counts, memory.watches
    for s in range(counts.shape[0]):
        n = min(2, int(counts[s, N_KEPT]))
        times, points, fresh = np.empty(n), np.empty((n, 6)), np.ones(n, np.bool_)
        for who in range(memory.members.shape[0]):
            for i in range(n):
                times[i] = memory.samples[row_of(memory, s, i), SAMPLE_S]
                perceived(memory, row_of(memory, s, i), who, points, i)
            first = Samples(times, times, points, fresh)
            row = int(memory.members[who, FIRST_WATCH])
            for j in range(int(memory.members[who, N_WATCHES])):
                watch = watch_in(watches, row + j)
                settled = Settled(np.empty((4, 4)), np.empty(4))
                settle(first_step_s(times, fresh), watch, settled)
                columns = memory.ground if j == 0 else memory.heights
                k = s * watches.shape[0] + row + j
                start_filter(memory.filters, k, first, columns, watch, settled)


@kernel
def remember_speed(filters, speeds, k, now, first, second):
    """Let filter k remember its velocity (first, second) now [m/s].

    Return the rows of `speeds` in which it has the earliest one and this one.
    """
    most = speeds.shape[0] // filters.shape[0]
    start, count = int(filters[k, FIRST_SPEED]), int(filters[k, N_SPEEDS])
    at = k * most + (start + count) % most
    speeds[at, 0], speeds[at, 1], speeds[at, 2] = now, first, second
    while count > 1:
        after = k * most + (start + 1) % most
        if not now - speeds[after, 0] >= STEADY_S - CLOCK_S:
            break
        start = (start + 1) % most
        count -= 1
    filters[k, FIRST_SPEED], filters[k, N_SPEEDS] = start, count + 1
    return k * most + start, at


@kernel
def take_in_seen(memory, who, s, now):
    """Let a member's filters of subject s take in what is seen by now."""
    counts, samples, watches = memory.counts, memory.samples, memory.watches
    taken, kept = int(counts[s, TAKEN + 2 * who]), int(counts[s, N_KEPT])
    points = np.empty((1, 6))
    row = int(memory.members[who, FIRST_WATCH])
    end = row + int(memory.members[who, N_WATCHES])
    while taken < kept:
        sample = row_of(memory, s, taken)
        if not samples[sample, SEEN_S + 3 * who] <= now + CLOCK_S:
            break
        perceived(memory, sample, who, points, ZERO)
        time = samples[sample, SAMPLE_S]
        columns = memory.ground
        for j in range(row, end):
            k, watch = s * watches.shape[0] + j, watch_in(watches, j)
            take_in(memory.filters, k, time, points, ZERO, columns, watch)
            columns = memory.heights
        taken += 1
    counts[s, TAKEN + 2 * who] = taken


@kernel
def member_sees(fixed, memory, who, tick):
    """Return what a member sees at a tick: a `Seen` of this one tick."""
    watches, filters, speeds = memory.watches, memory.filters, memory.speeds
    crests, heights = memory.crests, memory.heights
    of_heights = memory.speeds_of[:1]
    now, n = tick_time(memory.clock, tick), memory.counts.shape[0]
    row, models = (
        int(memory.members[who, FIRST_WATCH]),
        int(memory.members[who, N_WATCHES]),
    )
    place, velocity = np.empty((n, 1, 2, 3)), np.empty((n, 1, 2, 3))
    fades, crest = np.empty((n, 2, 1)), np.empty((n, 1))
    told, odds, lasts = (
        np.empty((models, 1, TOLD)),
        np.empty(models),
        np.empty((models, 1)),
    )
    places, velocities = np.empty((models, 1, 6)), np.empty((models, 1, 6))
    for s in range(n):
        take_in_seen(memory, who, s, now)
        columns, parts = memory.ground, memory.speeds_of
        for j in range(models):
            k, watch = s * watches.shape[0] + row + j, watch_in(watches, row + j)
            there, flow = places[j, 0], velocities[j, 0]
            believed(filters, k, now, watch, columns, there, flow, told[j, 0])
            first, second = (flow[3], flow[5]) if j == 0 else (flow[4], 0.0)
            back, at = remember_speed(filters, speeds, k, now, first, second)
            lasts[j, 0] = fade_since(
                speeds,
                parts,
                back,
                at,
                now - speeds[back, 0],
                watches[row + j, STEADY_TIMES],
                watches[row + j, LEAST_FADE],
            )
            odds[j] = watches[row + j, ODDS]
            columns, parts = heights, of_heights
        mine, flow = place[s].reshape(1, 6), velocity[s].reshape(1, 6)
        for c in memory.ground:
            mine[0, c], flow[0, c] = places[0, 0, c], velocities[0, 0, c]
        fades[s, 0, 0] = lasts[0, 0]
        blend_models(
            told[1:],
            odds[1:],
            (places[1:], velocities[1:], lasts[1:]),
            heights,
            mine,
            flow,
            fades[s, 1],
            crest[s],
        )
        if tick > 0:
            step = now - tick_time(memory.clock, tick - 1)
            crest[s, 0] = steadied(crests[who, s], crest[s, 0], step)
        crests[who, s] = crest[s, 0]
    ticks = np.empty(1)
    ticks[0] = now
    facing = np.empty((n, 1 if who == OPERATOR else 0))
    if who == OPERATOR:
        last_facing(memory, now, facing)
    return Seen(ticks, place, velocity, fades, crest, facing)


@kernel
def last_facing(memory, now, facing):
    """Fill the facing that an operator has seen last, (n_subjects, 1) [rad]."""
    counts, samples = memory.counts, memory.samples
    reaction = memory.members[OPERATOR, REACTION]
    for s in range(counts.shape[0]):
        k, end = 0, int(counts[s, N_KEPT])
        since = now - reaction + 1e-9
        while k + 1 < end and samples[row_of(memory, s, k + 1), SAMPLE_S] <= since:
            k += 1
        facing[s, 0] = samples[row_of(memory, s, k), FACING]


@kernel
def forget(memory, now):
    """Let go of samples that nobody will look at again."""
    counts, samples = memory.counts, memory.samples
    most = samples.shape[0] // counts.shape[0]
    members, reaction = memory.members.shape[0], memory.members[OPERATOR, REACTION]
    for s in range(counts.shape[0]):
        kept, gone = int(counts[s, N_KEPT]), 0
        newest = samples[row_of(memory, s, kept - 1), SAMPLE_S]
        youngest = min(newest - SPEED_S, now - reaction) + 1e-9
        taken = kept
        for who in range(members):
            taken = min(taken, int(counts[s, TAKEN + 2 * who]))
        while gone + 1 < kept and gone < taken:
            if not samples[row_of(memory, s, gone + 1), SAMPLE_S] <= youngest:
                break
            gone += 1
        counts[s, N_KEPT] = kept - gone
        counts[s, OLDEST] = (int(counts[s, OLDEST]) + gone) % most
        for who in range(members):
            counts[s, TAKEN + 2 * who] -= gone
