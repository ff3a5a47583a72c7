"""The process of one batch on a farm: submits its job there and tells of its shots.

Speaks as `batch_run` does. An interrupt cancels the batch on the farm. When the service
ends, this ends and the farm goes on: the next service submits the same job, and the
farm knows it.
"""

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any, TypeVar

from ...jobs.errors import InputError, JobError, ServiceError
from ...jobs.job.load import load_job
from ...jobs.takes.sequence_table import ShotRow
from ..farm.farm import Farm, cancel, connect, outcomes, status
from ..farm.places import PlaceError
from ..farm.settings import load_settings
from ..farm.submission import submit

T = TypeVar("T")

_EVERY_S = 0.25
_AWAY_S = 1.0  # between tries while the farm is not reachable
_FIELDS = {one.name for one in fields(ShotRow)}

Tell = Callable[[ShotRow], None]
End = dict[str, str | None]


def run_on_farm(request: dict[str, Any], tell: Tell) -> End:
    """Have a farm solve a job; return how it ended.

    Args:
        request: as the service sends it.
        tell: called with the row of each shot as it is done.
    """
    threading.Thread(target=_leave_with_service, daemon=True).start()
    try:
        farm = connect(load_settings())
        batch = _patiently(lambda: _submit(farm, request))
        return _followed(farm, batch, tell)
    except JobError as error:
        return {"state": "failed", "detail": str(error.faults[0])}
    except PlaceError as error:
        return {"state": "failed", "detail": error.fault.message}
    except InputError as error:
        return {"state": "failed", "detail": error.fault.message}


def _submit(farm: Farm, request: dict[str, Any]) -> str:
    root = request["root"]
    folder = farm.settings.roots[0] if root is None else Path(root)
    submitted = submit(
        farm,
        load_job(Path(request["job"])),
        folder=folder,
        out=Path(request["out"]),
        project=request["project"],
    )
    return submitted.batch


def _followed(farm: Farm, batch: str, tell: Tell) -> End:
    """Tell of every shot until the batch has ended."""
    told: set[str] = set()
    seen = -1
    while True:
        try:
            now = _patiently(lambda: status(farm, batch))
            if now.done != seen or now.closed:
                seen = now.done
                for found in outcomes(farm, batch):
                    row = _row(found["row"])
                    if row.shot not in told:
                        told.add(row.shot)
                        tell(row)
            if now.closed:
                return {"state": now.state, "detail": now.error or None}
            time.sleep(_EVERY_S)
        except KeyboardInterrupt:
            _patiently(lambda: cancel(farm, batch))


def _row(values: dict[str, Any]) -> ShotRow:
    return ShotRow(**{name: values[name] for name in values if name in _FIELDS})


def _patiently(ask: Callable[[], T]) -> T:
    """Return what the farm says, once it can be reached."""
    while True:
        try:
            return ask()
        except ServiceError as error:
            print(json.dumps({"message": str(error)}), file=sys.stderr, flush=True)
            time.sleep(_AWAY_S)


def _leave_with_service() -> None:
    sys.stdin.read()
    os._exit(0)
