"""The shake layer by frequency."""

import numpy as np

from ...solver.arrays import FloatArray
from .drawing import WIDTH, Drawing
from .shown import Shown
from .svg import (
    Box,
    Scale,
    group,
    line,
    numbers,
    rows_of_numbers,
    steps_through,
    stroke,
    text,
)

_BOX = Box(left=46, top=16, width=WIDTH - 46 - 8, height=112)
_LEAST_DEG = 1e-9
_MOST_HZ = 12.0


def density(values: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Return frequencies (m,) [Hz] and one-sided power density (..., m) [unit^2/Hz].

    Hann window; the sum over all frequencies is the mean square of values that
    have many periods in the window.

    Args:
        values: (..., n), n >= 4.
        rate_hz: samples a second.
    """
    n_values = values.shape[-1]
    window = np.hanning(n_values)
    means = values.mean(axis=-1, keepdims=True)
    parts = np.fft.rfft((values - means) * window)
    power: FloatArray = 2 * (parts * parts.conj()).real
    power = power / (rate_hz * float((window**2).sum()))
    hz: FloatArray = np.arange(power.shape[-1]) * (rate_hz / n_values)
    return hz, power


def shake_spectrum(shown: Shown) -> Drawing | None:
    """Return the spectrum of pan and tilt shake; None where the camera is locked."""
    layers = np.array([shown.column("shake_pan_deg"), shown.column("shake_tilt_deg")])
    rms = np.sqrt(np.mean(layers**2, axis=1)).tolist()
    if max(rms) < _LEAST_DEG or len(shown.frames) < 8:
        return None
    rate_hz = float(shown.rate)
    hz, powers = density(layers, rate_hz)
    most_hz = min(_MOST_HZ, rate_hz / 2)
    across = Scale(low=0, high=most_hz, start=_BOX.left, end=_BOX.right)
    amplitudes = np.sqrt(powers)
    top = 1.08 * float(amplitudes.max())
    up = Scale(low=0, high=top, start=_BOX.bottom, end=_BOX.top)
    drawn = hz <= most_hz
    x, heights = numbers(across.all(hz[drawn])), up.all(amplitudes[:, drawn])
    body = group(
        *(
            group(
                line((_BOX.left, up(value)), (_BOX.right, up(value)), class_="faint"),
                text(f"{value:.3g}", (_BOX.left - 7, up(value) + 4)),
                class_="label end",
            )
            for value in up.ticks(5)
        ),
        *(
            text(f"{value:g}", (across(value), _BOX.bottom + 16), class_="label middle")
            for value in across.ticks(6)
        ),
        *(
            stroke(steps_through(x, y), class_=kind)
            for y, kind in zip(
                rows_of_numbers(heights), ("pan", "pan other"), strict=True
            )
        ),
        line((_BOX.left, _BOX.bottom), (_BOX.right, _BOX.bottom), class_="axis"),
        text(
            "Hz",
            ((_BOX.left + _BOX.right) / 2, _BOX.bottom + 32),
            class_="label middle",
        ),
        id="shake_plot",
    )
    level = shown.metadata.asked.shake["level"]
    note = f"{level}: r.m.s. {rms[0]:.3f} deg in pan, {rms[1]:.3f} deg in tilt"
    return Drawing(
        title="Shake, deg/\u221aHz",
        body=body,
        height=_BOX.bottom + 40,
        words=f"{note}.",
        key=(("pan", "pan"), ("pan other", "tilt")),
        note=note,
    )
