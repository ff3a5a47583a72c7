"""Shots of a job packed one by one, for processes that work on few of them."""

import pickle
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, overload

if TYPE_CHECKING:
    from .shot import ShotSpec


class PackedShots(Sequence["ShotSpec"]):
    """The shots of a job, each unpacked when it is first asked for.

    Unpacking all shots of a feature takes a tenth of a second in every process.

    Attributes:
        places: index of each shot by its name in lower case.
    """

    def __init__(self, shots: Sequence["ShotSpec"]) -> None:
        """Pack shots."""
        self.places = {shot.name.lower(): k for k, shot in enumerate(shots)}
        self._packed = [pickle.dumps(shot, pickle.HIGHEST_PROTOCOL) for shot in shots]
        self._unpacked: dict[int, ShotSpec] = {}

    def __len__(self) -> int:
        """Return how many shots there are."""
        return len(self._packed)

    @overload
    def __getitem__(self, place: int) -> "ShotSpec": ...

    @overload
    def __getitem__(self, place: slice) -> tuple["ShotSpec", ...]: ...

    def __getitem__(self, place: int | slice) -> "ShotSpec | tuple[ShotSpec, ...]":
        """Return the shot at a place, or the shots of a slice."""
        if isinstance(place, slice):
            return tuple(self[k] for k in range(*place.indices(len(self))))
        place = range(len(self))[place]
        if place not in self._unpacked:
            self._unpacked[place] = pickle.loads(self._packed[place])
        return self._unpacked[place]

    def __iter__(self) -> Iterator["ShotSpec"]:
        """Yield all shots in order."""
        return (self[k] for k in range(len(self)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pack what is packed already, and nothing that was unpacked."""
        return _packed_again, (self.places, self._packed)


def _packed_again(places: dict[str, int], packed: list[bytes]) -> PackedShots:
    made = PackedShots(())
    made.places, made._packed = places, packed
    return made
