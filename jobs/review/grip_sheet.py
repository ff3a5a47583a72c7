"""The grip's sheet of a take, as plain values and in words, in metres and in feet.

It is computed when the shot is solved and travels in the take's metadata, so that a
take's file alone answers. Planning estimates, not clearances.
"""

from typing import Any

import pyarrow as pa

from ..takes.metadata import take_metadata

_FOOT_M = 0.3048  # exact: international foot


def grip_sheet_of(table: pa.Table) -> dict[str, Any]:
    """Return the sheet of a written take, JSON-able, with feet and words.

    Beside each length in metres, `..._m`, stands the same in feet, `..._ft`; `words`
    are lines to print.

    Args:
        table: of a take, as read back.

    Raises:
        ValueError: it is no take.
    """
    sheet = take_metadata(table).grip_sheet
    return {**_with_feet(sheet), "words": sheet_words(sheet)}


def sheet_words(sheet: dict[str, Any]) -> list[str]:
    """Return a sheet as lines to read, the notice first."""
    low, high = sheet["height_m"]
    heights = (
        feet_and_metres(low)
        if low == high
        else f"{feet_and_metres(low)} to {feet_and_metres(high)}"
    )
    near = sheet["closest"]
    along, across = sheet["space_m"]
    return [
        f"{sheet['notice'].capitalize()}.",
        *_track_words(sheet),
        *_taken_out(sheet),
        f"Lens {heights} over the ground.",
        *(
            f"Mark {k}, frame {mark['frame']}, {mark['what']}: "
            f"{_place(sheet, mark)}lens {mark['height_m']:.2f} m high, focus "
            f"{feet_and_metres(mark['focus_m'])}."
            for k, mark in enumerate(sheet["marks"], 1)
        ),
        f"Closest: {near['subject']} at {feet_and_metres(near['distance_m'])}, "
        f"frame {near['frame']}.",
        f"{_pan(sheet['pan_deg'])}; {_tilt(sheet['tilt_deg'])}.",
        f"Room: {along:.2f} x {across:.2f} m ({_feet(along)} x {_feet(across)}), "
        f"{sheet['margin_m']:g} m around the lens's path.",
    ]


def _taken_out(sheet: dict[str, Any]) -> list[str]:
    gone = sheet.get("taken_out")
    return [f"Take out of the set: {', '.join(gone)}."] if gone else []


def _track_words(sheet: dict[str, Any]) -> list[str]:
    track = sheet["track"]
    if track is None:
        return ["Sticks, no track."]
    if track["laid_m"] == 0:
        return [f"{sheet['rig'].capitalize()}: the dolly stands, no track is used."]
    laid = feet_and_metres(track["laid_m"])
    if track["radius_m"]:
        first = (
            f"Arc of radius {feet_and_metres(track['radius_m'])}: {laid} of track over "
            f"{track['sweep_deg']:g} deg"
        )
    elif not track["sections"]:
        first = f"{sheet['rig'].capitalize()}: {laid} of track"
    else:
        pieces = "section" if track["sections"] == 1 else "sections"
        first = (
            f"Straight track: {laid}, {track['sections']} {pieces} of "
            f"{feet_and_metres(track['section_m'])}"
        )
    lines = [
        f"{first}; {track['used_m']:.2f} m covered in the cut, run-up "
        f"{track['run_up_m']:.2f} m, run-out {track['run_out_m']:.2f} m."
    ]
    for name, end in (("before_m", "near"), ("beyond_m", "far")):
        if track[name] > 0:
            over = feet_and_metres(track[name])
            lines.append(f"The track runs {over} past the {end} end of the setup's.")
    if track["rise_m"]:
        side = "above" if track["rise_m"] > 0 else "below"
        rise = abs(track["rise_m"])
        level = max(0.0, track["laid_m"] ** 2 - rise**2) ** 0.5
        slope = f"a slope of {100 * rise / level:.0f} %" if level else "straight up"
        lines.append(
            f"The far end is {feet_and_metres(rise)} {side} the near end, {slope}."
        )
    lines.append(
        f"Dolly at most {sheet['max_speed_m_s']:.2f} m/s "
        f"({sheet['max_speed_m_s'] / _FOOT_M:.1f} ft/s) and "
        f"{sheet['max_accel_m_s2']:.2f} m/s2."
    )
    return lines


def _place(sheet: dict[str, Any], mark: dict[str, Any]) -> str:
    """Return where on the track a mark is, nothing on sticks."""
    if sheet["track"] is None:
        return ""
    return f"{feet_and_metres(mark['rail_m'])} from the near end, "


def _with_feet(value: Any) -> Any:
    """Return plain values with feet beside every length in metres."""
    if isinstance(value, list):
        return [_with_feet(item) for item in value]
    if not isinstance(value, dict):
        return value
    both: dict[str, Any] = {}
    for name, inner in value.items():
        both[name] = _with_feet(inner)
        if name.endswith("_m"):
            both[f"{name[:-2]}_ft"] = _in_feet(inner)
    return both


def _in_feet(metres: Any) -> Any:
    if isinstance(metres, list):
        return [_in_feet(item) for item in metres]
    return round(metres / _FOOT_M, 2)


def feet_and_metres(metres: float) -> str:
    """Return a length in metres, and in feet and inches."""
    return f"{metres:.2f} m ({_feet(metres)})"


def _feet(metres: float) -> str:
    feet, inches = divmod(round(metres / _FOOT_M * 12), 12)
    return f"{feet} ft {inches} in"


def _pan(angles_deg: list[float]) -> str:
    """Return how far the cut pans, from where its first frame looks."""
    right, left = (abs(angle) for angle in angles_deg)
    ways = [
        f"{angle:.1f} deg {way}" for angle, way in ((left, "left"), (right, "right"))
    ]
    said = [words for words, angle in zip(ways, (left, right), strict=True) if angle]
    return f"Pan {' and '.join(said)} of the first frame" if said else "No pan"


def _tilt(angles_deg: list[float]) -> str:
    low, high = (f"{angle:.1f} deg".replace("-", "\u2212") for angle in angles_deg)
    return f"tilt {low}" if low == high else f"tilt {low} to {high}"
