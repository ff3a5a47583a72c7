"""The cut of a sequence as an OpenTimelineIO timeline, with its takes as media."""

import os
from pathlib import Path
from typing import Any

from ..job.timecode import frame_of_label
from ..places.place import Place
from ..takes.curves import Curves, Delivery


def timeline_text(delivery: Delivery, folder: Place) -> str:
    """Return the timeline of a sequence as JSON.

    A clip for each take, with its cut frames; its media is the take's file, with its
    handles. A shot without a take is a gap of its length.

    Args:
        delivery: the takes.
        folder: where the timeline will lie; takes on the same disk are named from it.
    """
    import opentimelineio as otio

    rate = float(delivery.curves[0].rate)

    def span(first: int, last: int) -> Any:
        return otio.opentime.TimeRange(
            otio.opentime.RationalTime(first, rate),
            otio.opentime.RationalTime(last - first + 1, rate),
        )

    by_shot = {one.shot: one for one in delivery.curves}
    cut = dict(delivery.clock.frames) or {s: c.cut for s, c in by_shot.items()}
    track = otio.schema.Track("V", kind=otio.schema.TrackKind.Video)
    for shot, (first, last) in cut.items():
        one = by_shot.get(shot)
        if one is None:
            track.append(otio.schema.Gap(name=shot, source_range=span(0, last - first)))
            continue
        media = otio.schema.ExternalReference(
            target_url=_address(delivery, one, folder),
            available_range=span(int(one.frame[0]), int(one.frame[-1])),
        )
        clip = otio.schema.Clip(
            shot, media_reference=media, source_range=span(*one.cut)
        )
        clip.metadata["carrellata"] = {
            "sequence": one.sequence,
            "take_key": one.take_key,
            "focal_mm": one.focal_mm,
        }
        track.append(clip)
    timeline = otio.schema.Timeline(delivery.sequence)
    if delivery.clock.timecode is not None:
        start = frame_of_label(delivery.clock.timecode, delivery.curves[0].rate)
        timeline.global_start_time = otio.opentime.RationalTime(start, rate)
    timeline.tracks.append(track)
    text: str = timeline.to_json_string(indent=2)
    return text + "\n"


def _address(delivery: Delivery, one: Curves, folder: Place) -> str:
    take = delivery.store.take(one.shot)
    if isinstance(take, Path) and isinstance(folder, Path):
        return Path(os.path.relpath(take, folder)).as_posix()
    return str(take)
