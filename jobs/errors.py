"""Every error that a job, its files or its run can end in, and its exit code."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One thing that is wrong, and where.

    Attributes:
        path: field as the reader finds it in the file, `shots[3].lens_mm`.
        message: rule, value and unit in one sentence without a full stop.
    """

    path: str
    message: str

    def __str__(self) -> str:
        """Return the fault as one line, `path: message`."""
        return f"{self.path}: {self.message}" if self.path else self.message


class CarrellataError(Exception):
    """Base of everything the package raises on purpose.

    Attributes:
        faults: all that is wrong, each with its place; at least one.
    """

    faults: tuple[Fault, ...]

    def __init__(self, *args: object) -> None:
        """Keep what is said as the only fault, without a place."""
        super().__init__(*args)
        self.faults = (Fault(path="", message=" ".join(map(str, args))),)


class JobError(CarrellataError):
    """The job is refused as a whole; nothing was written."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        """Keep the faults in the order in which the file names them."""
        super().__init__(faults)
        self.faults = faults

    def __str__(self) -> str:
        """Return one line a fault."""
        return "\n".join(str(fault) for fault in self.faults)


class ShotDataError(CarrellataError):
    """The data of one shot cannot be used; the other shots are not touched."""

    def __init__(self, shot: str, faults: tuple[Fault, ...]) -> None:
        """Keep the name of the shot and its faults."""
        super().__init__(shot, faults)
        self.shot = shot
        self.faults = faults

    def __str__(self) -> str:
        """Return one line a fault, each led by the name of the shot."""
        return "\n".join(f"shot {self.shot}: {fault}" for fault in self.faults)


class InputError(CarrellataError):
    """A file that was named cannot be read at all."""

    def __init__(self, path: str, message: str) -> None:
        """Keep the file as it was named and what is wrong with it."""
        super().__init__(path, message)
        self.fault = Fault(path=path, message=message)
        self.faults = (self.fault,)

    def __str__(self) -> str:
        """Return the fault as one line."""
        return str(self.fault)


class ServiceError(CarrellataError):
    """A service that the command needs does not answer."""


class CancelledError(CarrellataError):
    """The work was stopped on request before it was done."""


EXIT_CODES: dict[type[CarrellataError], int] = {
    ShotDataError: 1,
    JobError: 2,
    InputError: 2,
    ServiceError: 3,
    CancelledError: 4,
}


def exit_code(error: CarrellataError) -> int:
    """Return the exit code of an error, that of its nearest listed class.

    Raises:
        KeyError: neither the class nor a parent of it is in `EXIT_CODES`.
    """
    for kind in type(error).__mro__:
        if kind in EXIT_CODES:
            return EXIT_CODES[kind]
    raise KeyError(type(error).__name__)
