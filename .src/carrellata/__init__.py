"""Solves follow cameras in batches: `carrellata.solve(job)`.

What is listed in `__all__` is public; everything else may change. A name is loaded
when it is first used, so that importing the package costs next to nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .jobs.errors import (
        CancelledError as CancelledError,
        CarrellataError as CarrellataError,
        Fault as Fault,
        InputError as InputError,
        JobError as JobError,
        ServiceError as ServiceError,
        ShotDataError as ShotDataError,
    )
    from .jobs.library.given import (
        JobLike as JobLike,
        plain_tables as plain_tables,
        samples as samples,
    )
    from .jobs.library.job_tables import (
        AcceptTable as AcceptTable,
        ArcTable as ArcTable,
        CameraTable as CameraTable,
        ChannelTable as ChannelTable,
        ChooseRigTable as ChooseRigTable,
        CrewTable as CrewTable,
        CueTable as CueTable,
        FramingTable as FramingTable,
        JobTable as JobTable,
        LensTable as LensTable,
        PullerTable as PullerTable,
        ShakeTable as ShakeTable,
        ShotTable as ShotTable,
        SticksTable as SticksTable,
        SubjectTable as SubjectTable,
        TrackTable as TrackTable,
        WorldTable as WorldTable,
    )
    from .jobs.library.look import (
        CheckReport as CheckReport,
        check as check,
        lenses as lenses,
        read_take as read_take,
        study as study,
    )
    from .jobs.library.measures import TakeMeasures as TakeMeasures
    from .jobs.library.results import (
        SequenceResult as SequenceResult,
        ShotResult as ShotResult,
        TakeFinding as TakeFinding,
        TakeResult as TakeResult,
    )
    from .jobs.library.solve import (
        StepDone as StepDone,
        solve as solve,
        solve_shot as solve_shot,
    )

    __version__: str

_LIBRARY = "carrellata.jobs.library"
_PLACES = {
    "carrellata.jobs.errors": (
        "CancelledError",
        "CarrellataError",
        "Fault",
        "InputError",
        "JobError",
        "ServiceError",
        "ShotDataError",
    ),
    f"{_LIBRARY}.given": ("JobLike", "plain_tables", "samples"),
    f"{_LIBRARY}.job_tables": (
        "AcceptTable",
        "ArcTable",
        "CameraTable",
        "ChannelTable",
        "ChooseRigTable",
        "CrewTable",
        "CueTable",
        "FramingTable",
        "JobTable",
        "LensTable",
        "PullerTable",
        "ShakeTable",
        "ShotTable",
        "SticksTable",
        "SubjectTable",
        "TrackTable",
        "WorldTable",
    ),
    f"{_LIBRARY}.look": ("CheckReport", "check", "lenses", "read_take", "study"),
    f"{_LIBRARY}.measures": ("TakeMeasures",),
    f"{_LIBRARY}.results": (
        "SequenceResult",
        "ShotResult",
        "TakeFinding",
        "TakeResult",
    ),
    f"{_LIBRARY}.solve": ("StepDone", "solve", "solve_shot"),
}
_PLACE_OF = {name: place for place, names in _PLACES.items() for name in names}

__all__ = ["__version__", *sorted(_PLACE_OF)]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    """Load a public name when it is first used."""
    if name == "__version__":
        from importlib.metadata import version

        value: Any = version("carrellata")
    elif name in _PLACE_OF:
        value = getattr(import_module(_PLACE_OF[name]), name)
    else:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
