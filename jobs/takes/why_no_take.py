"""Says in a sentence why a shot has no take, and what would give it one."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # pages look for these words, and need nothing that chooses
    from ...solver.setups.no_setup import Change, NoSetup

SOLVE_AGAIN = "solve it again"
"""Ends a fault that nothing in the job is to blame for."""

TIGHTEST = "; tightest limit: "
HELPS = "; what would help: "
"""What stands before the limit, and before the changes, in the sentence."""

_BROKEN = {
    "head_in_frame": "the subject's head leaves the frame",
    "held_in_frame": "not all who must be held stay in frame",
    "size": "the size is not kept",
    "min_distance": "the lens comes too near",
    "sight": "something stands in the line of sight",
    "floor": "the floor is too small",
    "height": "no lens height on the stage gives the angle",
    "step": "the rail leaves the floor at a step",
    "rail_in_path": "a subject walks over the rail",
}


def no_setup_words(reason: "NoSetup") -> str:
    """Return why there is no setup, naming the tightest limit and what would help."""
    broken = sorted(reason.broken, key=lambda name: -reason.broken[name])
    what = [_broken(name) for name in broken] or ["no rig could be laid"]
    seen = ""
    if reason.broken and reason.head_in_frame == reason.head_in_frame:
        seen = (
            f" (best try: head in frame {100 * reason.head_in_frame:.1f} % of the "
            f"time, size kept {100 * reason.size_kept:.0f} %)"
        )
    helps = "; ".join(_change(change) for change in reason.changes)
    return (
        f"no setup holds the shot: {', '.join(what)}{seen}{TIGHTEST}"
        f"{_limit(reason.limit)}{HELPS}{helps or 'no single change tried'}"
    )


def _limit(name: str) -> str:
    kind, _, which = name.partition(":")
    return f'{kind.replace("_", "-")} "{which}"' if which else kind.replace("_", " ")


def _broken(name: str) -> str:
    kind, _, which = name.partition(":")
    if kind == "sight" and which:
        return f'"{which}" hides who is followed'
    if kind == "set":
        return f'the rig stands in "{which}" of the set'
    if kind == "floor_hole":
        return f"the rig stands in stage.floor_holes[{which}]"
    if kind == "claim":
        return f'the picture does not tell "{which}"'
    return f'a rail meets keep-out "{which}"' if which else _BROKEN.get(kind, kind)


def _change(change: "Change") -> str:
    kind, _, which = change.limit.partition(":")
    if kind == "set":
        return f'"{which}" taken out of the set'
    if which:
        return f'without {kind.replace("_", "-")} "{which}"'
    return {
        "floor": f"a floor larger by {change.amount:g} m on every side",
        "keep_outs": "no keep-outs",
        "set_parts": f"the {change.amount:g} nearest parts of the set taken out",
        "height_m": f"a lens height of {change.amount:g} m over the ground",
        "height": "lens heights beyond the stage's range",
        "min_distance": f"stage.min_distance_m = {change.amount:g}",
        "lens_mm": f"the {change.amount:g} mm lens of the kit",
        "lens": f"a {change.amount:g} mm lens in the kit",
        "dolly_speed": f"a dolly of {change.amount:g} {change.unit}",
        "rig.kinds": "all kinds of rig",
        "view": "any view",
        "framing.size": f"a framing {change.amount:g} {change.unit}",
    }[kind]
