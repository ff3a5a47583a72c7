"""Four plain ways to move the same camera on the same rig, with no crew at all.

- rigid aim: the dolly is at its place and the frame is exact in every frame;
- delayed integrator: the same through x' = wc (r - x)(t - tau), the crossover model;
- low-pass lag: the same through a first-order lag, a common spring on the camera;
- whole-shot smoothing: the same through a Gaussian over past and future.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.action.framing import primary_points
from carrellata.solver.crew.perform import perform
from carrellata.solver.optics.camera import aim
from carrellata.solver.rigs.rig import abreast_s
from carrellata.solver.shot import Shot
from carrellata.solver.studies.camera import lagged, smoothed
from carrellata.solver.take import sample_frames

from .identify import delayed_integrator

FloatArray = NDArray[np.float64]

# Time constant with which the pan's measured lag on the clips is the crew's (0.4 s):
# tests/evidence/test_baselines.py.
LAG_S = 0.58
SMOOTHING_S = 0.5
# Mean crossover [rad/s] and delay [s] of `brisk` on one function, each take another:
# `evidence.people`; held by tests/evidence/test_baselines.py.
BRISK_CROSSOVER, BRISK_DELAY_S = 2.72, 0.325
FINE = 8  # steps of the integrator a frame


@dataclass(frozen=True, kw_only=True, slots=True)
class Moves:
    """Positions a frame: rail [m], pan and tilt [rad], (n,) each, at times (n,) [s]."""

    times_s: FloatArray
    rail: FloatArray
    pan: FloatArray
    tilt: FloatArray
    decisions: int | None = None


Solver = Callable[[Shot], Moves]


def frame_times(shot: Shot) -> FloatArray:
    """Return the times of a shot's samples, (n,) [s]."""
    frames, subs = sample_frames(shot)
    return shot.times_of(frames + subs / shot.samples_per_frame)


def aimed_at(shot: Shot, times: FloatArray) -> FloatArray:
    """Return the aim point as acted, (n, 3) [m]."""
    aims = np.array([f.aim for f in shot.framings])
    return primary_points(shot.subjects, shot.framings, times, aims)


def rigid(shot: Shot) -> Moves:
    """Aim exactly in every frame, the dolly abreast."""
    times = frame_times(shot)
    points = aimed_at(shot, times)
    rail = np.array([abreast_s(shot.rig.shape, *p, 1.0) for p in points])
    tx, ty = shot.tangents
    framing = shot.framings[0]
    d = points - shot.rig.places(rail)
    pan, tilt, _ = aim(d, framing.u, framing.v, shot.roll_rad, tx, ty)
    return Moves(times_s=times, rail=rail, pan=np.unwrap(pan), tilt=tilt)


def _through(moves: Moves, change: Callable[[FloatArray], FloatArray]) -> Moves:
    return Moves(
        times_s=moves.times_s,
        rail=change(moves.rail),
        pan=change(moves.pan),
        tilt=change(moves.tilt),
    )


def low_pass(shot: Shot) -> Moves:
    """Follow rigid aim through a first-order lag."""
    lag = float(shot.rate) * LAG_S
    return _through(rigid(shot), lambda values: lagged(values, lag))


def integrated(
    values: FloatArray, rate: float, crossover: float, delay_s: float
) -> FloatArray:
    """Return values (n,) as a delayed integrator follows them, from the first on.

    Args:
        values: what is followed, evenly spaced.
        rate: of the values [1/s].
        crossover: of the integrator [rad/s].
        delay_s: of the integrator, in whole steps of an eighth of a frame [s].
    """
    times, step = np.arange(len(values)) / rate, 1.0 / (rate * FINE)
    _, _, response = delayed_integrator(
        lambda when: np.interp(when, times, values - values[0]),
        crossover=crossover,
        delay_steps=round(delay_s / step),
        step_s=step,
        steps=(len(values) - 1) * FINE,
    )
    return values[0] + response[::FINE]


def delayed(shot: Shot) -> Moves:
    """Follow rigid aim as the crossover model does, with `brisk`'s two numbers."""
    rate = float(shot.rate)
    return _through(
        rigid(shot),
        lambda values: integrated(values, rate, BRISK_CROSSOVER, BRISK_DELAY_S),
    )


def whole_shot(shot: Shot) -> Moves:
    """Smooth rigid aim over the whole shot, past and future alike."""
    sigma = SMOOTHING_S * float(shot.rate)
    return _through(rigid(shot), lambda values: smoothed(values, sigma))


def crew(shot: Shot) -> Moves:
    """Let the shot's crew work."""
    times = frame_times(shot)
    done = perform(shot)
    starts = np.concatenate([done.pan.starts_s, done.tilt.starts_s])
    return Moves(
        times_s=times,
        rail=done.dolly.at(times)[:, 0],
        pan=done.pan.at(times)[:, 0],
        tilt=done.tilt.at(times)[:, 0],
        decisions=int(((starts >= times[0]) & (starts <= times[-1])).sum()),
    )


SOLVERS: dict[str, Solver] = {
    "crew": crew,
    "delayed integrator": delayed,
    "rigid aim": rigid,
    "low-pass lag": low_pass,
    "whole-shot smoothing": whole_shot,
}
