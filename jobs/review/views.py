"""The two pictures of a take: from above, and through the lens."""

import numpy as np

from ..job.rig import RIGS
from .drawing import WIDTH, Drawing
from .frame_view import frame_view
from .plan_view import plan_view
from .shown import Shown
from .stage import stage_of
from .svg import Box, element

_PLAN = Box(left=2, top=2, width=WIDTH - 4, height=290)
_OUT = 1.25  # half frames that are drawn, so that a subject is seen to leave
_LABEL_PX = 16.0


def plan_drawing(shown: Shown) -> Drawing:
    """Return the shot from above."""
    dolly_m = float(np.hypot(*np.diff(shown.camera[:, :2], axis=0).T).sum())
    rig = shown.metadata.rail.kind
    names = " and the ".join(dict.fromkeys(shown.followed))
    stage = stage_of(shown.metadata)
    plan = plan_view(shown, _PLAN)
    key = [
        ("camera", "camera and its view"),
        ("mark", "subject"),
        ("number", "same moments in all drawings"),
    ]
    if len(shown.rail) > 1:
        key.insert(0, ("rail", "rail"))
    if 'class="keep_out"' in plan:
        key.append(("keep_out", "keep-out"))
    if len(stage.walls):
        key.append(("wall", "set"))
    if stage.floor is not None:
        key.append(("floor", "floor"))
    moved = f"moves {dolly_m:.1f} m" if len(shown.rail) > 1 else "stands still"
    return Drawing(
        title="From above, to scale",
        body=plan,
        height=_PLAN.bottom + 2,
        words=f"The camera, on {RIGS[rig].words}, {moved} and follows the {names}.",
        key=tuple(key),
        wide=True,
    )


def frame_drawing(shown: Shown) -> Drawing:
    """Return the frame with the subject's trace."""
    width = (WIDTH - 2 * _LABEL_PX) / _OUT
    side = (WIDTH - width) / 2
    high = width / shown.aspect
    above = max(_LABEL_PX + 6, (_OUT - 1) / 2 * high)
    box = Box(left=side, top=above, width=width, height=high)
    height = high + 2 * above
    seen = np.asarray(np.isfinite(shown.place).all(axis=1))
    inside = seen & (np.abs(shown.place) <= 1).all(axis=1)
    share = 100 * float(inside[seen].mean()) if seen.any() else 0.0
    hidden = int((~seen).sum())
    unseen = f"; not to be seen in {hidden} frames" if hidden else ""
    return Drawing(
        title=f"Through the lens, {shown.aspect:.2f} : 1",
        body=element(
            "svg",
            frame_view(shown, box),
            width=WIDTH,
            height=height,
            viewBox=f"0 0 {WIDTH:g} {height:g}",
        ),
        height=height,
        words=f"The subject is inside the frame in {share:.0f} % of the frames in "
        f"which it is to be seen{unseen}.",
        key=(
            ("subject", "subject, frame by frame"),
            ("mark", "marked moments"),
            ("asked", "where it was asked for"),
            ("decision", "pan decision"),
        ),
        note=f"Inside the frame in {share:.0f} % of the frames{unseen}",
        wide=True,
    )
