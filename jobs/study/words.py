"""A study in plain sentences."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ...solver.cuts.findings import Finding
from ..takes.findings_words import sentence

Numbers = Mapping[str, float | str]

_UNITS = {
    ("pan", "speed"): "deg/s",
    ("pan", "accel"): "deg/s2",
    ("pan", "jerk"): "deg/s3",
    ("tilt", "speed"): "deg/s",
    ("tilt", "accel"): "deg/s2",
    ("tilt", "jerk"): "deg/s3",
    ("dolly", "speed"): "m/s",
    ("dolly", "accel"): "m/s2",
    ("dolly", "jerk"): "m/s3",
}


def finding_words(finding: Finding, camera: str) -> str:
    """Return a finding of a studied camera, or of the cut into it, as one sentence.

    What solved shots are faulted for too is said in the same words.
    """
    said = _SENTENCES.get(finding.name)
    return sentence(finding, camera) if said is None else said(finding.numbers)


def use_lines(use: Mapping[str, Any]) -> Iterator[str]:
    """Yield a sequence's use of lenses and sizes, and how long its shots are."""
    lenses = (f"{mm} mm {n}" for mm, n in use["lenses_mm"].items())
    yield f"lenses: {', '.join(lenses) or 'none'}"
    sizes = (f"{size} {n}" for size, n in use["sizes"].items())
    yield f"sizes: {', '.join(sizes) or 'none'}"
    if use["median_s"] is not None:
        yield (
            f"shots: {use['shortest_s']:.1f} to {use['longest_s']:.1f} s long, "
            f"median {use['median_s']:.1f} s"
        )


_WAYS = {
    "correlation": "the best match in time",
    "coherence": "the phase of both",
    "onset": "the first answer to a change",
}
"""Ways to tell how late a camera is."""


def study_lines(row: Mapping[str, Any]) -> Iterator[str]:
    """Yield what a study found, a line a subject."""
    yield f"made by: {_made(row)} ({row['made_by_why']})"
    for name in ("correlation", "coherence", "onset"):
        yield f"late by {_WAYS[name]}: {_lag(row, f'lag_{name}')}"
    for one in row["early"]:
        yield (
            f"early: {one['lead_frames']:.1f} frames ahead from {one['from_s']:.2f} "
            f"to {one['to_s']:.2f} s, by {one['by']}"
        )
    yield (
        f"path: {row['path']}, leaves {1000 * row['path_left_m']:.1f} mm, travels "
        f"{row['path_travel_m']:.2f} m; moving: {', '.join(row['moving']) or 'nothing'}"
    )
    yield (
        f"wobble: {1000 * row['wobble_m']:.2f} mm, "
        f"{_number(row['parallax_percent'], '.3f')} % of the frame width on screen"
    )
    stands = row["path"] == "point"
    for channel in ("pan", "tilt") if stands else ("pan", "tilt", "dolly"):
        yield f"{channel}: {_peaks(row, channel)}"
    yield (
        f"lens: {row['focal_mm']:.1f} mm, drifts by {row['focal_drift_mm']:.2f} mm"
        f"{'' if row['lens_in_kit'] else ', not in the kit'}"
    )
    yield (
        f"framing: {row['size']}, held at {_side(row['u'], 'right', 'left')} and "
        f"{_side(row['v'], 'up', 'down')} half frames, in frame "
        f"{100 * row['in_frame']:.0f} %, drift {row['drift_rms']:.3f} half frames"
    )
    yield (
        f"aim: {100 * abs(row['looks_up_m']):.1f} cm "
        f"{'above' if row['looks_up_m'] >= 0 else 'below'} the point that is usual for "
        f"the size, and {100 * abs(row['looks_beside_m']):.1f} cm "
        f"{'right' if row['looks_beside_m'] >= 0 else 'left'} of it"
    )
    yield f"shake: {_shake(row)}"
    for channel in ("operator", "grip"):
        if row[channel] is not None:
            yield f"{channel}: {_crew(row[channel])}"


def _side(value: float, plus: str, minus: str) -> str:
    return f"{abs(value):.2f} {plus if value >= 0 else minus}"


def _made(row: Mapping[str, Any]) -> str:
    kind = str(row["made_by"])
    frames = row["made_by_frames"]
    if kind == "whole-shot smoothing":
        kind += f", which anticipates by {row['ahead_frames']:.1f} frames"
    elif kind == "low-pass lag":
        kind += f" of {frames:.1f} frames"
        if row["made_by_late_frames"] >= 0.5:
            kind += f", {row['made_by_late_frames']:.1f} frames late"
    elif kind == "rigid aim" and abs(frames) >= 0.5:
        kind += f", {abs(frames):.1f} frames {'late' if frames > 0 else 'early'}"
    like = row["made_by_likewise"]
    return f"{kind}; as well by {', '.join(like)}" if like else kind


def _lag(row: Mapping[str, Any], name: str) -> str:
    value = row[f"{name}_frames"]
    if value is None:
        return f"none, {row[f'{name}_why_none']}"
    spread = row[f"{name}_spread_frames"]
    tail = "" if spread is None else f" +- {spread:.1f}"
    return f"{value:+.1f}{tail} frames"


def _peaks(row: Mapping[str, Any], channel: str) -> str:
    parts = []
    for order in ("speed", "accel", "jerk"):
        unit = _UNITS[channel, order]
        key = f"{channel}_max_{order}_{unit.replace('/', '_')}"
        value, used = row[key], row[f"{channel}_{order}_of_limit"]
        parts.append(
            f"{order} hidden by noise"
            if value is None
            else f"{order} {value:.3g} {unit} ({100 * used:.0f} % of the limit)"
        )
    return ", ".join(parts)


def _shake(row: Mapping[str, Any]) -> str:
    if row["shake_percent"] is None:
        return f"none told, {row['shake_why_none']}"
    return (
        f"{row['shake_percent']:.3f} % of the frame width "
        f"({row['shake_low_percent']:.3f} to {row['shake_high_percent']:.3f}), "
        f"most like {row['shake_level']}"
    )


def _crew(found: Mapping[str, Any]) -> str:
    names = {
        "reaction_s": ("reaction", " s"),
        "tolerance": ("tolerance", ""),
        "rest_s": ("rest", " s"),
        "bandwidth_rad_s": ("bandwidth", " rad/s"),
        "stiffness_rad_s": ("stiffness", " rad/s"),
    }
    parts = [
        f"{words} {found[name]['value']:.3g}{unit} "
        f"({found[name]['low']:.3g} to {found[name]['high']:.3g})"
        for name, (words, unit) in names.items()
    ]
    return f"like {found['based_on']}, {', '.join(parts)}"


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


def _reads_ahead(n: Numbers) -> str:
    ahead = float(n["ahead_frames"])
    return (
        f"The whole shot was smoothed: the camera answers {ahead:.0f} frames before "
        "its subject moves; let it follow."
    )


def _rigid(n: Numbers) -> str:
    late = float(n["late_frames"])
    when = "to the frame" if abs(late) < 0.5 else f"{late:+.1f} frames late"
    return f"The aim is exact {when}, as no hand holds it; let it follow."


def _early(n: Numbers) -> str:
    return (
        f"The camera moves {float(n['lead_frames']):.1f} frames before its subject, "
        f"{float(n['from_s']):.2f} to {float(n['to_s']):.2f} s, by {n['by']}."
    )


def _over(n: Numbers) -> str:
    unit = _UNITS[str(n["channel"]), str(n["order"])]
    return (
        f"The {n['channel']}'s {n['order']} reaches {float(n['value']):.3g} {unit}, "
        f"{100 * float(n['of_limit']):.0f} % of what the crew can do."
    )


_SENTENCES: dict[str, Callable[[Numbers], str]] = {
    "reads_ahead": _reads_ahead,
    "rigid_aim": _rigid,
    "not_following": lambda n: "No crew that follows its subject makes this move.",
    "moves_early": _early,
    "over_limit": _over,
    "focal_drift": lambda n: (
        f"The lens drifts by {float(n['drift_mm']):.2f} mm about "
        f"{float(n['focal_mm']):.1f} mm, as a prime does not."
    ),
    "lens_not_in_kit": lambda n: (
        f"A {float(n['focal_mm']):.1f} mm lens is not in the kit, the nearest is "
        f"{float(n['nearest_mm']):g} mm."
    ),
    "no_simple_path": lambda n: (
        f"The path is not a point, line or arc; the best of these leaves "
        f"{float(n['left_m']):.2f} m."
    ),
}
