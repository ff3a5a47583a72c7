"""What is wrong with a set."""

from typing import NoReturn

from ..errors import CarrellataError, Fault


class SetError(CarrellataError):
    """The set of a shot cannot be used, so the shot fails."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        """Keep the faults in the order in which they were found."""
        super().__init__(faults)
        self.faults = faults

    def __str__(self) -> str:
        """Return one line a fault."""
        return "\n".join(str(fault) for fault in self.faults)


def refuse_set(path: str, message: str) -> NoReturn:
    """Raise a `SetError` of one fault."""
    raise SetError((Fault(path=path, message=message),))
