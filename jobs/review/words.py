"""Setups, lengths and shares in words, the same on every page."""

import json
from typing import Any

from ..job.setup import SetupSpec
from ..takes.metadata import ShotBrief
from .explain import PARTS


def rig_words(setup: SetupSpec | None) -> str:
    """Return the kind of a setup's rig in one word; a dash where there is no setup."""
    return "\u2013" if setup is None else setup.rig.kind


def lens_words(setup: SetupSpec | None) -> str:
    """Return the lens of a setup; a dash where there is no setup."""
    return "\u2013" if setup is None else f"{setup.lens_mm:g} mm"


def view_words(setup: SetupSpec | None) -> str:
    """Return the view and the side of a setup after a comma, "" where both are free."""
    if setup is None:
        return ""
    view, side = setup.view, setup.side
    words = []
    if view is not None:
        degrees = "\u00b0" if isinstance(view, int | float) else ""
        words.append(_value(view) + degrees)
    if side is not None:
        words.append(f"from the {side}")
    return f", {' '.join(words)}" if words else ""


def size_words(asked: ShotBrief) -> str:
    """Return the size that a take was asked for, with its changes."""
    sizes = [asked.framing, *asked.cues]
    words = [
        one["size"] or f"{100 * one['fill']:g} % of the height"
        for one in sizes
        if _sized(one)
    ]
    return " \u2192 ".join(words)


def percent(value: float | None) -> str:
    """Return a share in percent; a share just short of one is not rounded to it."""
    if value is None:
        return "\u2013"
    shown = 100 * value
    digits = 0 if shown in (0, 100) or 0.5 <= shown <= 99.5 else 1
    return f"{min(shown, 99.9) if value < 1 else shown:.{digits}f} %"


def figure(value: float | None, form: str, unit: str = "") -> str:
    """Return a number with its unit, or a dash."""
    return "\u2013" if value is None else f"{value:{form}}{unit}".replace("-", "\u2212")


_UNITS = {
    "deg_s2": "deg/s\u00b2",
    "deg_s": "deg/s",
    "m_s2": "m/s\u00b2",
    "m_s": "m/s",
    "per_s": "a second",
    "deg": "deg",
    "m": "m",
    "s": "s",
}
"""What the end of a measure's name stands for; the longer ends come first."""

_PLACES = ("at", "from", "to", "centre", "radius", "start_deg", "sweep_deg")
"""Fields of a rig that say where it stands or lies."""

_RIG_FIELDS = {
    "hold": "what the dolly keeps",
    "beside": "place beside the subject",
    "follow": "share of the way that it covers",
}

_IN_HALF_FRAMES = ("drift_rms", "drift_max")


def measure_words(name: str, before: float | None, after: float | None) -> str:
    """Return a measure before and after, with its name and unit for people."""
    said, unit = _name_and_unit(name)
    pair = f"{figure(before, '.4g')} \u2192 {figure(after, '.4g')}"
    return f"{said}: {pair} {unit}".rstrip()


def measure_name(name: str) -> str:
    """Return the name of a measure for people, its unit after a comma."""
    return ", ".join(part for part in _name_and_unit(name) if part)


def _name_and_unit(name: str) -> tuple[str, str]:
    end = next((end for end in _UNITS if name.endswith(f"_{end}")), "")
    said = name.removesuffix(f"_{end}").replace("_", " ")
    return said, "half frames" if name in _IN_HALF_FRAMES else _UNITS.get(end, "")


def setup_changes(before: SetupSpec | None, after: SetupSpec | None) -> list[str]:
    """Return what is another in a setup, a phrase each; none where one is not."""
    if before is None or after is None:
        return []
    changes = []
    if before.lens_mm != after.lens_mm:
        changes.append(f"lens {lens_words(before)} \u2192 {lens_words(after)}")
    for name in ("side", "view", "height"):
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            unit = " scene units" if name == "height" else ""
            changes.append(f"{name} {_value(old)} \u2192 {_value(new)}{unit}")
    if before.rig.kind != after.rig.kind:
        changes.append(f"rig {rig_words(before)} \u2192 {rig_words(after)}")
    elif before.rig != after.rig:
        one, two = before.plain()["rig"], after.plain()["rig"]
        named = sorted(name for name in one if one[name] != two[name])
        if any(name in _PLACES for name in named):
            changes.append(f"{rig_words(after)} moved")
        changes += [
            f"{rig_words(after)}: {_RIG_FIELDS.get(name, name)} changed"
            for name in named
            if name not in _PLACES
        ]
    return changes


def why_words(why: str | None) -> str:
    """Return why a setup was chosen, from what the choice wrote as JSON."""
    if not why:
        return "The job fixes this setup."
    chosen = json.loads(why)
    kept = "The setup of the last solve, kept" if chosen["kept"] else "Chosen"
    costs = sorted(chosen["parts"].items(), key=lambda part: -abs(part[1]))[:3]
    parts = ", ".join(f"{PARTS.get(name, name)} ({cost:.2g})" for name, cost in costs)
    return (
        f"{kept} from {chosen['candidates']} setups that hold the shot, "
        f"{chosen['tried']} tried. It costs {chosen['score']:.2f} points"
        f"{f', most of them for {parts}' if parts else ''}."
    )


def _value(value: Any) -> str:
    if value is None:
        return "free"
    return (
        f"{value:g}" if isinstance(value, int | float) else str(value).replace("_", " ")
    )


def _sized(one: dict[str, Any]) -> bool:
    return one.get("size") is not None or one.get("fill") is not None
