"""Shake on screen: pixels at 2K by level and lens, and its spectrum."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal
from shots import GATE, HEADROOM, HEIGHT_M

from carrellata.solver.action.body import framing_distance_m
from carrellata.solver.shake import LEVELS, shake_layer

FloatArray = NDArray[np.float64]

WIDTH_PX = 2048
RATE_HZ = 24.0
SECONDS = 120.0
SEEDS = 8
LENSES_MM = (18.0, 25.0, 35.0, 50.0, 75.0, 100.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class OnScreen:
    """A level on a lens, pixels of a frame 2048 wide, r.m.s. over seeds.

    `turn_px` moves the whole picture, `frame_px` does so from one frame to the next,
    `roll_px` moves the side edge up and down, `slide_px` moves a whole figure by
    translation of the lens.
    """

    level: str
    lens_mm: float
    pan_deg: float
    turn_px: float
    frame_px: float
    roll_px: float
    slide_px: float


def _layers(level: str, lens_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return pan and roll [rad] and sideways shift [m], (seeds, n) each."""
    times = np.arange(0, SECONDS, 1 / RATE_HZ)
    tracks = [
        shake_layer(
            LEVELS[level], times_s=times, seed=seed, focal_mm=lens_mm, gate=GATE
        )
        for seed in range(SEEDS)
    ]
    pan, roll, x = (
        np.array([getattr(one, name) for one in tracks])
        for name in ("pan", "roll", "x")
    )
    return pan, roll, x


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def on_screen() -> list[OnScreen]:
    """Return every level on every lens."""
    rows = []
    for level in LEVELS:
        for lens_mm in LENSES_MM:
            tx, ty = GATE.half_tangents(lens_mm)
            pan, roll, x = _layers(level, lens_mm)
            shift = np.tan(pan) / tx * WIDTH_PX / 2
            distance = framing_distance_m("full", HEIGHT_M, HEADROOM, ty)
            rows.append(
                OnScreen(
                    level=level,
                    lens_mm=lens_mm,
                    pan_deg=float(np.degrees(_rms(pan))),
                    turn_px=_rms(shift),
                    frame_px=_rms(np.diff(shift, axis=1)),
                    roll_px=_rms(np.sin(roll)) * WIDTH_PX / 2,
                    slide_px=_rms(x / distance / tx) * WIDTH_PX / 2,
                )
            )
    return rows


def spectra() -> dict[str, tuple[FloatArray, FloatArray]]:
    """Return frequency [Hz] and pan amplitude density [px / sqrt Hz] by level."""
    out = {}
    tx, _ = GATE.half_tangents(50.0)
    for level in LEVELS:
        pan, _, _ = _layers(level, 50.0)
        shift = np.tan(pan) / tx * WIDTH_PX / 2
        frequency, power = signal.welch(shift, RATE_HZ, nperseg=256, detrend=False)
        out[level] = frequency[1:], np.sqrt(power.mean(axis=0))[1:]
    return out
