"""The crew at work on recorded football, a channel and frame at a time."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial

import motion
import numpy as np
from shots import shot, subject

from carrellata.solver.crew.observe import observe
from carrellata.solver.crew.perform import dolly_plans, head_plans, perform
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import track
from carrellata.solver.shot import Shot

from .clock import medians, paired
from .figures import Figure, Sizes

RATE = Fraction(24)


def stretch(name: str) -> Shot:
    """Return a stretch of a match, a sample a frame, from a dolly beside it."""
    rate, points = motion.football_stretches()[name]
    seconds = np.arange(len(points)) / rate
    times = np.arange(0.0, seconds[-1], 1 / float(RATE))
    floor = np.column_stack([np.interp(times, seconds, axis) for axis in points.T])
    ends = floor[:, 0].min(), floor[:, 0].max()
    beside = floor[:, 2].max() + 12.0
    rail = track(np.array([ends[0], 1.5, beside]), np.array([ends[1], 1.5, beside]))
    return shot(subject(floor, RATE), rail)


def on_sticks(moving: Shot) -> Shot:
    """Return the same stretch from where the rail is half way."""
    place = moving.rig.places(np.array([moving.rig.length_m / 2]))[0]
    return replace(moving, rig=sticks(place))


def run(sizes: Sizes) -> list[Figure]:
    """Time head and dolly on what the crew saw, and the whole performance."""
    names = sorted(motion.football_stretches())[: sizes.stretches]
    moving = [stretch(name) for name in names]
    still = [on_sticks(one) for one in moving]
    n_frames = sum(len(observe(one).ticks) for one in moving)
    seen = [observe(one) for one in moving]
    dollies = [dolly_plans(*pair) for pair in zip(moving, seen, strict=True)]
    stands = [dolly_plans(*pair) for pair in zip(still, seen, strict=True)]

    def each(function: Callable[..., object], *lists: list[object]) -> None:
        for arguments in zip(*lists, strict=True):
            function(*arguments)

    runs: dict[str, Callable[[], object]] = {
        "observe": partial(each, observe, moving),
        "dolly": partial(each, dolly_plans, moving, seen),
        "pan_tilt": partial(each, head_plans, still, seen, stands),
        "pan_tilt_on_dolly": partial(each, head_plans, moving, seen, dollies),
        "perform": partial(each, perform, moving),
    }
    taken = medians(paired(runs, sizes.repeats))
    us = {name: s / n_frames * 1e6 for name, s in taken.items()}
    decisions = sum(len(plans.log) for plans in dollies)
    note = f"{n_frames} frames of {len(names)} football stretches"
    return [
        Figure(
            name="crew_head_channel_frame_us",
            value=us["pan_tilt"] / 2,
            unit="us",
            target=0.2,
            note=f"{note}, from sticks",
        ),
        Figure(
            name="crew_head_on_dolly_channel_frame_us",
            value=us["pan_tilt_on_dolly"] / 2,
            unit="us",
        ),
        Figure(
            name="crew_dolly_channel_frame_us",
            value=us["dolly"],
            unit="us",
            target=0.7,
            note=f"{decisions} plans",
        ),
        Figure(name="crew_observe_frame_us", value=us["observe"], unit="us"),
        Figure(name="crew_all_frame_us", value=us["perform"], unit="us"),
    ]
