"""Everything that the page shows, computed once."""

from dataclasses import dataclass

import numpy as np

from carrellata.solver.presets import PRESETS

from . import shake_page
from .clips import Clip, Row, clip_rows, clips, football_restlessness
from .doublestep import DoubleStep, double_step
from .people import Runs, interval, pairs, preset, trackers
from .sensitivity import Setting, presets, settings
from .targets import SET_A
from .tracking import Tracking, all_tracking, one_third_law, size_dependence

PRESET_ORDER = ("steady", "brisk", "sharp", "heavy_head")  # colours of the page


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """All results."""

    tracking: list[Tracking]
    people: dict[str, Runs]
    restless: dict[str, tuple[float, float]]
    one_third: dict[str, list[dict[str, float]]]
    size: dict[str, list[dict[str, float]]]
    steps: list[DoubleStep]
    clips: list[Clip]
    rows: list[Row]
    presets: list[Setting]
    settings: list[Setting]
    shake: list[shake_page.OnScreen]
    spectra: dict[str, tuple[shake_page.FloatArray, shake_page.FloatArray]]


def gather() -> Evidence:
    """Compute everything."""
    tracking, recorded = all_tracking(), clips()
    crossover = {
        one.preset: one.found.crossover
        for one in tracking
        if one.target.name == SET_A.name
    }
    return Evidence(
        tracking=tracking,
        people=trackers(),
        restless={name: football_restlessness(preset(name)) for name in PRESETS},
        one_third={
            name: one_third_law(PRESETS[name], crossover[name])
            for name in ("sharp", "brisk")
        },
        size={
            name: size_dependence(SET_A, PRESETS[name]) for name in ("sharp", "brisk")
        },
        steps=[double_step(crew) for crew in PRESETS.values()],
        clips=recorded,
        rows=list(clip_rows(recorded)),
        presets=presets(),
        settings=settings(),
        shake=shake_page.on_screen(),
        spectra=shake_page.spectra(),
    )


Record = dict[str, str | float | int | None]


def records(evidence: Evidence) -> dict[str, list[Record]]:
    """Return the results as flat tables by name, units in the keys."""
    return {
        "tracking": [
            {
                "preset": one.preset,
                "target": one.target.name,
                "amplitude_tolerances": one.tolerances,
                "crossover_rad_s": one.found.crossover,
                "delay_s": one.found.delay_s,
                "margin_deg": float(np.degrees(one.found.margin_rad)),
                "remnant_share": one.found.remnant,
                "least_coherence_to_crossover": near_coherence(one),
                "error_share": one.found.error_share,
                "decisions_per_s": one.decisions_per_s,
            }
            for one in evidence.tracking
        ],
        "people": [
            {
                "tracker": name,
                **{
                    f"{field}_{what}": value
                    for field in Runs.__slots__
                    for what, value in zip(
                        ("mean", "low", "high"),
                        (
                            float(getattr(runs, field).mean()),
                            *interval(pairs(getattr(runs, field))),
                        ),
                        strict=True,
                    )
                },
                "spread": runs.spread,
                "repeat": runs.repeat,
                "spread_low": interval(pairs(runs.crossover), spread=True)[0],
                "spread_high": interval(pairs(runs.crossover), spread=True)[1],
            }
            for name, runs in evidence.people.items()
        ],
        "one_third_law": [
            {"preset": name, **row}
            for name, rows in evidence.one_third.items()
            for row in rows
        ],
        "input_size": [
            {"preset": name, **row}
            for name, rows in evidence.size.items()
            for row in rows
        ],
        "double_step": [
            {
                "preset": one.preset,
                "rest_s": one.rest_s,
                "gap_s": gap,
                "on_s": on,
                "back_s": back,
            }
            for one in evidence.steps
            for gap, on, back in zip(
                one.gap_s.tolist(), one.on_s.tolist(), one.back_s.tolist(), strict=True
            )
        ],
        "restlessness": [
            {"preset": name, "share_above_1_hz": share, "peaks_per_s": peaks}
            for name, (share, peaks) in evidence.restless.items()
        ],
        "clips": [_plain(row) for row in evidence.rows],
        "presets": [_plain(row) for row in evidence.presets],
        "sensitivity": [_plain(row) for row in evidence.settings],
        "shake": [_plain(row) for row in evidence.shake],
    }


def near_coherence(one: Tracking) -> float:
    """Return the least coherence up to the crossover."""
    found = one.found
    return float(found.coherence[found.omega <= found.crossover].min())


def _plain(row: Row | Setting | shake_page.OnScreen) -> Record:
    return {name: getattr(row, name) for name in row.__slots__}
