"""The cut of an action as an OpenTimelineIO timeline.

One video track, a clip a picture. Each clip has every camera of the action as a media
reference of its own, under the camera's name, with the frames of the whole action; the
one that is on is active. All have the same frame numbers, so another angle is in step.

Written after the published file form (OpenTimelineIO schemas Timeline.1, Clip.2); no
package is needed to write it.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any


@dataclass(frozen=True, kw_only=True, slots=True)
class TimelineClip:
    """One picture: the camera that is on, and its frames, both inside."""

    camera: str
    shot: str
    frames: tuple[int, int]


def timeline_json(
    name: str,
    rate: Fraction,
    clips: Sequence[TimelineClip],
    media: Mapping[str, str],
    frames: tuple[int, int],
) -> bytes:
    """Return a cut as the text of an .otio file; equal cuts give equal bytes.

    Args:
        name: of the timeline.
        rate: frames a second.
        clips: in the order of the cut.
        media: address of each camera's take, relative to the file, by camera.
        frames: first and last of the action.
    """
    number = float(rate)
    references = {
        camera: {
            "OTIO_SCHEMA": "ExternalReference.1",
            "metadata": {},
            "name": camera,
            "available_range": _range(frames, number),
            "available_image_bounds": None,
            "target_url": url,
        }
        for camera, url in media.items()
    }
    children = [
        {
            "OTIO_SCHEMA": "Clip.2",
            "metadata": {},
            "name": clip.shot,
            "source_range": _range(clip.frames, number),
            "effects": [],
            "markers": [],
            "enabled": True,
            "media_references": references,
            "active_media_reference_key": clip.camera,
        }
        for clip in clips
    ]
    track = {**_item("Track.1", name, children), "kind": "Video"}
    timeline = {
        "OTIO_SCHEMA": "Timeline.1",
        "metadata": {},
        "name": name,
        "global_start_time": None,
        "tracks": _item("Stack.1", "tracks", [track]),
    }
    return json.dumps(timeline, sort_keys=True).encode()


def _item(schema: str, name: str, children: Sequence[Mapping[str, Any]]) -> Any:
    return {
        "OTIO_SCHEMA": schema,
        "metadata": {},
        "name": name,
        "source_range": None,
        "effects": [],
        "markers": [],
        "enabled": True,
        "children": children,
    }


def _range(frames: tuple[int, int], rate: float) -> Any:
    first, last = frames
    return {
        "OTIO_SCHEMA": "TimeRange.1",
        "start_time": _time(first, rate),
        "duration": _time(last - first + 1, rate),
    }


def _time(value: int, rate: float) -> Any:
    return {"OTIO_SCHEMA": "RationalTime.1", "rate": rate, "value": float(value)}
