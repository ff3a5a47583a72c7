"""Solves follow cameras in batches: `carrellata.solve(job)`.

What is listed in `__all__` is public; everything else may change. A name is loaded
when it is first used, so that importing the package costs next to nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .jobs.errors import (
        CancelledError as CancelledError,
    )
    from .jobs.errors import (
        CarrellataError as CarrellataError,
    )
    from .jobs.errors import (
        Fault as Fault,
    )
    from .jobs.errors import (
        InputError as InputError,
    )
    from .jobs.errors import (
        JobError as JobError,
    )
    from .jobs.errors import (
        ServiceError as ServiceError,
    )
    from .jobs.errors import (
        ShotDataError as ShotDataError,
    )
    from .jobs.library.given import (
        JobLike as JobLike,
    )
    from .jobs.library.given import (
        plain_tables as plain_tables,
    )
    from .jobs.library.given import (
        samples as samples,
    )
    from .jobs.library.job_tables import (
        AcceptTable as AcceptTable,
    )
    from .jobs.library.job_tables import (
        ArcTable as ArcTable,
    )
    from .jobs.library.job_tables import (
        CameraTable as CameraTable,
    )
    from .jobs.library.job_tables import (
        ChannelTable as ChannelTable,
    )
    from .jobs.library.job_tables import (
        ChooseRigTable as ChooseRigTable,
    )
    from .jobs.library.job_tables import (
        CrewTable as CrewTable,
    )
    from .jobs.library.job_tables import (
        CueTable as CueTable,
    )
    from .jobs.library.job_tables import (
        FramingTable as FramingTable,
    )
    from .jobs.library.job_tables import (
        JobTable as JobTable,
    )
    from .jobs.library.job_tables import (
        LensTable as LensTable,
    )
    from .jobs.library.job_tables import (
        PullerTable as PullerTable,
    )
    from .jobs.library.job_tables import (
        ShakeTable as ShakeTable,
    )
    from .jobs.library.job_tables import (
        ShotTable as ShotTable,
    )
    from .jobs.library.job_tables import (
        SticksTable as SticksTable,
    )
    from .jobs.library.job_tables import (
        SubjectTable as SubjectTable,
    )
    from .jobs.library.job_tables import (
        TrackTable as TrackTable,
    )
    from .jobs.library.job_tables import (
        WorldTable as WorldTable,
    )
    from .jobs.library.live import LiveCrew as LiveCrew
    from .jobs.library.live import LiveState as LiveState
    from .jobs.library.look import (
        CheckReport as CheckReport,
    )
    from .jobs.library.look import (
        check as check,
    )
    from .jobs.library.look import (
        lenses as lenses,
    )
    from .jobs.library.look import (
        read_take as read_take,
    )
    from .jobs.library.look import (
        study as study,
    )
    from .jobs.library.measures import TakeMeasures as TakeMeasures
    from .jobs.library.results import (
        SequenceResult as SequenceResult,
    )
    from .jobs.library.results import (
        ShotResult as ShotResult,
    )
    from .jobs.library.results import (
        TakeFinding as TakeFinding,
    )
    from .jobs.library.results import (
        TakeResult as TakeResult,
    )
    from .jobs.library.solve import (
        StepDone as StepDone,
    )
    from .jobs.library.solve import (
        solve as solve,
    )
    from .jobs.library.solve import (
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
    f"{_LIBRARY}.live": ("LiveCrew", "LiveState"),
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

__all__ = ["__version__", *sorted(_PLACE_OF)]


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
