"""Two solves of a sequence as a page."""

from collections.abc import Collection, Iterator, Sequence

from markupsafe import Markup

from .compare import Difference, Side
from .shell import page
from .shown import Shown, shown_of
from .viewfinder import MOST_PLAYED, poster_data
from .words import figure

_MOST_PAIRS = 200  # shots that are played side by side


def compare_page(
    differences: Sequence[Difference], *, before: Side, after: Side
) -> str:
    """Return the page of what changed between two solves.

    Args:
        differences: of all shots.
        before: the earlier solve.
        after: the later solve.
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
    moved = [
        one.shot for one in changed if any((one.camera_m, one.pan_deg, one.tilt_deg))
    ]
    pairs = list(_pairs(moved[:_MOST_PAIRS], before, after))
    return page(
        "compare.html",
        before=before.label,
        after=after.label,
        pairs=[shot for shot, _ in pairs],
        pictures=Markup(f"[{','.join(pictures for _, pictures in pairs)}]"),
        lines=lines,
        n_same=len(differences) - len(changed),
    )


def _pairs(
    shots: Collection[str], before: Side, after: Side
) -> Iterator[tuple[str, str]]:
    """Yield shots of which both takes are there, and the data of both pictures."""
    keys = [
        {row.shot: row.plain["take_key"] for row in side.rows}
        for side in (before, after)
    ]
    people: list[str] = []
    for shot in shots:
        tables = [
            side.store.whole(shot, own[shot])
            for side, own in zip((before, after), keys, strict=True)
        ]
        shown = [shown_of(table) for table in tables if table is not None]
        if len(shown) < 2 or max(len(one.frames) for one in shown) > MOST_PLAYED:
            continue
        names = [body.name for one in shown for body in one.bodies]
        people = list(dict.fromkeys([*people, *names]))
        yield shot, f"[{','.join(_pictures(one, people) for one in shown)}]"


def _pictures(shown: Shown, people: Sequence[str]) -> str:
    return poster_data(shown, range(len(shown.frames)), people)
