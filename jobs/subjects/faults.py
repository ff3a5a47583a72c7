"""What is wrong with the data of one subject."""

from collections.abc import Iterable
from typing import NoReturn

from ..errors import CarrellataError, Fault


class SubjectError(CarrellataError):
    """The trajectory of one subject cannot be used, so its shot fails."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        """Keep the faults in the order in which they were found."""
        super().__init__(faults)
        self.faults = faults

    def __str__(self) -> str:
        """Return one line a fault."""
        return "\n".join(str(fault) for fault in self.faults)


def refuse(path: str, message: str) -> NoReturn:
    """Raise a `SubjectError` of one fault."""
    raise SubjectError((Fault(path=path, message=message),))


def refuse_any(faults: Iterable[Fault]) -> None:
    """Raise a `SubjectError` of all faults, if there is one."""
    found = tuple(faults)
    if found:
        raise SubjectError(found)
