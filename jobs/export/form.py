"""The forms in which takes are delivered."""

from typing import Literal

Form = Literal[
    "usd",
    "gltf",
    "csv",
    "opentrackio",
    "fdl",
    "timeline",
    "picture",
    "frames",
    "stills",
]
