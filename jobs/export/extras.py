"""What is installed only on demand, and what to say where it is not."""

from importlib.util import find_spec

from ..errors import Fault, JobError


def need(module: str, extra: str, wanted_by: str) -> None:
    """Refuse what a missing package would be needed for.

    Args:
        module: that is imported.
        extra: of this package that installs it.
        wanted_by: option or field that asked for it.

    Raises:
        JobError: the module is not installed.
    """
    if find_spec(module) is None:
        message = f'needs an extra: pip install "carrellata[{extra}]"'
        raise JobError((Fault(path=wanted_by, message=message),))
