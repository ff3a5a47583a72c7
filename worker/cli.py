"""The console script: runs a command and turns its end into an exit code."""

import signal
import sys
from collections.abc import Sequence

from ..jobs.commands.solve import app
from ..jobs.commands.terminal import faults_json, print_faults, print_json
from ..jobs.errors import CancelledError, CarrellataError, Fault, exit_code
from ..jobs.places.object_errors import StoreError
from ..jobs.processes.garbage import collect_seldom
from .farm import commands as cli_farm  # noqa: F401  its commands join those of this machine
from .service import commands as _commands_of_the_service  # noqa: F401

_INTERRUPTED = 130  # what the command library makes of an interrupt
_NOT_WRITTEN = 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Args:
        arguments: without the name of the program; None for those of the process.

    Returns:
        0 solved, 1 some shots failed or a file could not be written, 2 bad job or
        usage, 3 service not reachable, 4 cancelled.
    """
    collect_seldom()
    words = list(sys.argv[1:] if arguments is None else arguments)
    # A farm's scheduler stops work with this signal; it ends as the keyboard's does.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        app(words, prog_name="carrellata")
    except CarrellataError as error:
        _say(error.faults, words)
        return exit_code(error)
    except KeyboardInterrupt:
        return exit_code(CancelledError())
    except OSError as error:
        path = "" if error.filename is None else str(error.filename)
        message = (error.strerror or str(error)).lower()
        if not isinstance(error, StoreError):
            message = f"cannot be written: {message}"
        _say((Fault(path=path, message=message),), words)
        return _NOT_WRITTEN
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
        return exit_code(CancelledError()) if code == _INTERRUPTED else code
    return 0


def _say(faults: tuple[Fault, ...], words: Sequence[str]) -> None:
    if "--json" in words:
        print_json(faults_json(faults))
    else:
        print_faults(faults)


if __name__ == "__main__":
    sys.exit(main())
