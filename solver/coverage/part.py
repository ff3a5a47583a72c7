"""A stretch of a take as a shot of its own, to be judged beside others."""

from dataclasses import replace

from ..take import Take


def part_of(take: Take, first: int, last: int) -> Take:
    """Return a take with some of its frames as the cut, the others as handles.

    Args:
        take: of a camera; nothing of it changes.
        first: frame number inside its cut.
        last: likewise, included.
    """
    shot = take.shot
    before = shot.handles[0] + first - shot.first
    after = shot.handles[1] + shot.last - last
    return replace(
        take, shot=replace(shot, first=first, last=last, handles=(before, after))
    )
