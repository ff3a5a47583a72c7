"""The kinds of rig that there are: each is a file of this folder, and stands here once.

In the order of `KINDS` ties go to the first. Of the rails that a shot may have, the
first is laid for every lens that is worth it, the others for the first lens only.
"""

from .arc import ARC_KIND
from .kind import RigKind
from .sticks import STICKS_KIND
from .track import TRACK_KIND

KINDS: dict[str, RigKind] = {
    kind.name: kind for kind in (STICKS_KIND, TRACK_KIND, ARC_KIND)
}


def place_of_kind(name: str) -> int:
    """Return where a kind stands in the order of `KINDS`."""
    return list(KINDS).index(name)
