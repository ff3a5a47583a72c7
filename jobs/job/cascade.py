"""What a shot inherits: the file's tables, the defaults, its scene, then itself.

Tables are merged field by field; everything else is replaced, lists too, but claims:
those of all tables count, a later one in place of an earlier one with the same verb of
the same people, and an empty list drops what is inherited. A field that is an
alternative to another (`fill` to `size`) replaces it, and a rig of another kind
replaces the whole rig.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from ...solver.action.claim import VERBS
from .locations import Location, path_text

_RIVALS = {
    ("framing", "size"): ("fill",),
    ("framing", "fill"): ("size",),
    ("camera", "film_back"): ("width_mm", "height_mm"),
    ("camera", "width_mm"): ("film_back",),
    ("camera", "height_mm"): ("film_back",),
    ("camera", "lens_kit_mm"): ("lenses",),
    ("camera", "lenses"): ("lens_kit_mm",),
    ("shake", "percent"): ("degrees",),
    ("shake", "degrees"): ("percent",),
}
# Tables of the file itself that every shot inherits.
SHARED_TABLES = ("camera", "crew", "stage")
_CLAIMS = "claims"


@dataclass(frozen=True, kw_only=True, slots=True)
class CascadeTable:
    """One table of the cascade and its path in the file."""

    path: str
    table: dict[str, Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class ResolvedShot:
    """The merged fields of a shot, and which table each of them came from.

    `claims` has the path in the file of each claim of the merged list.
    """

    path: str
    table: dict[str, Any]
    origins: dict[Location, str]
    claims: tuple[str, ...] = ()

    def path_of(self, location: Location) -> str:
        """Return where in the file the reader finds a field of the merged shot."""
        if len(location) > 1 and location[0] == _CLAIMS and self.claims:
            at = location[1]
            if isinstance(at, int) and at < len(self.claims):
                return path_text(self.claims[at], location[2:])
        for end in range(len(location), 0, -1):
            origin = self.origins.get(location[:end])
            if origin is not None:
                return path_text(origin, location)
        start = "" if location and location[0] in SHARED_TABLES else self.path
        return path_text(start, location)


def resolve(layers: tuple[CascadeTable, ...]) -> ResolvedShot:
    """Merge the tables of a cascade, the last one winning.

    Args:
        layers: from the most general to the shot itself, at least one.
    """
    table: dict[str, Any] = {}
    origins: dict[Location, str] = {}
    for layer in layers:
        table = _laid_over(table, layer, layer.table, (), origins)
    claims = _claims_of(layers)
    if claims is None:
        return ResolvedShot(path=layers[-1].path, table=table, origins=origins)
    return ResolvedShot(
        path=layers[-1].path,
        table={**table, _CLAIMS: [claim for _, claim in claims]},
        origins=origins,
        claims=tuple(path for path, _ in claims),
    )


def _claims_of(layers: tuple[CascadeTable, ...]) -> list[tuple[str, Any]] | None:
    """Return all claims with their paths; None where one table's are no list."""
    claims: list[tuple[str, Any]] = []
    given = [layer for layer in layers if _CLAIMS in layer.table]
    for layer in given:
        listed = layer.table[_CLAIMS]
        if not isinstance(listed, list | tuple):
            return None
        later = {_claimed(claim) for claim in listed} - {None}
        kept = [each for each in claims if _claimed(each[1]) not in later]
        claims = [*kept, *_placed(layer, listed)] if listed else []
    return claims if given else None


def _placed(layer: CascadeTable, listed: Sequence[Any]) -> Iterator[tuple[str, Any]]:
    for k, claim in enumerate(listed):
        yield path_text(layer.path, (_CLAIMS, k)), claim


def _claimed(claim: Any) -> tuple[str, str] | None:
    """Return the verb of a claim and whom it is about; None where it is no claim."""
    if isinstance(claim, str):
        return claim, "True None"
    if not isinstance(claim, dict):
        return None
    for verb in VERBS:
        if claim.get(verb) is not None:
            return verb, f"{claim[verb]} {claim.get('frames')}"
    return None


def _laid_over(
    below: dict[str, Any],
    layer: CascadeTable,
    above: dict[str, Any],
    at: Location,
    origins: dict[Location, str],
) -> dict[str, Any]:
    """Return `below` with `above`, a table of `layer` at a place, merged over it."""
    merged = {k: v for k, v in below.items() if k not in _displaced(at, above)}
    for name, value in above.items():
        place = (*at, name)
        kept = _kept(name, merged.get(name), value) if not at else merged.get(name)
        if not isinstance(kept, dict) or not isinstance(value, dict):
            kept = {}
            for stale in [old for old in origins if old[: len(place)] == place]:
                del origins[stale]
        origins[place] = layer.path
        merged[name] = (
            _laid_over(kept, layer, value, place, origins)
            if isinstance(value, dict)
            else value
        )
    return merged


def _displaced(at: Location, above: dict[str, Any]) -> set[str]:
    """Return the fields that the fields of a table stand in for."""
    parent = at[-1] if len(at) == 1 else ""
    return {
        rival
        for name, value in above.items()
        if value is not None
        for rival in _RIVALS.get((str(parent), name), ())
    }


def _kept(name: str, below: Any, above: Any) -> Any:
    """Return what of an inherited field of the shot the new value is merged over."""
    if not isinstance(above, dict):
        return None
    if name == "rig" and isinstance(below, dict):
        return (
            below if above.get("kind", below.get("kind")) == below.get("kind") else None
        )
    if name == "shake" and isinstance(below, str):
        return {"level": below}
    return below
