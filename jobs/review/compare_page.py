"""Two solves of a sequence as a page."""

from collections.abc import Sequence

from .compare import Difference
from .shell import page
from .words import figure


def compare_page(differences: Sequence[Difference], *, before: str, after: str) -> str:
    """Return the page of what changed between two solves.

    Args:
        differences: of all shots.
        before: what the earlier solve is called.
        after: what the later solve is called.
    """
    changed = [one for one in differences if one.kind != "same"]
    lines = [
        {
            "one": one,
            "lens": figure(one.camera_m, ".2f", " m"),
            "pan": figure(one.pan_deg, ".1f", "\u00b0"),
            "tilt": figure(one.tilt_deg, ".1f", "\u00b0"),
            "measures": [
                f"{name.replace('_', ' ')}: {figure(old, '.4g')} \u2192 "
                f"{figure(new, '.4g')}"
                for name, (old, new) in one.measures.items()
            ],
        }
        for one in sorted(changed, key=lambda one: -sum(f.rank for f in one.new))
    ]
    return page(
        "compare.html",
        before=before,
        after=after,
        lines=lines,
        n_same=len(differences) - len(changed),
    )
