"""Clips, gaps and tracks of timelines, as the library builds them."""

from typing import Any

import opentimelineio as otio

RATE = 24.0


def at(value: float, rate: float = RATE) -> Any:
    return otio.opentime.RationalTime(value, rate)


def span(first: float, length: float, rate: float = RATE) -> Any:
    return otio.opentime.TimeRange(at(first, rate), at(length, rate))


def clip(
    name: str,
    first: float,
    length: float,
    *,
    media: tuple[int, int] | None = None,
    rate: float = RATE,
) -> Any:
    """A clip of `length` frames from `first` on; media as first frame and length."""
    reference = otio.schema.ExternalReference(target_url=f"{name}.mov")
    if media is not None:
        reference.available_range = span(*media, rate)
    return otio.schema.Clip(
        name=name, media_reference=reference, source_range=span(first, length, rate)
    )


def gap(length: float, rate: float = RATE) -> Any:
    return otio.schema.Gap(source_range=span(0, length, rate))


def track(*children: Any, kind: str = "Video") -> Any:
    found = otio.schema.Track(name="V", kind=kind)
    found.extend(list(children))
    return found
