"""Logs: one JSON object a line, on standard error.

Whoever logs passes what the line is about by name: `job`, `shot`, `key`. Addresses
with passwords are never passed.
"""

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any

LOGGER = logging.getLogger("carrellata")

_PLAIN = {*vars(logging.makeLogRecord({})), "message", "asctime", "taskName"}
# What the queue's library adds to its own lines.
_LEFT_OUT = {"data", "context"}


class JsonLines(logging.Formatter):
    """Formats a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, with every named extra of the record."""
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(),
            "level": record.levelname.lower(),
            "message": record.getMessage(),
            "logger": record.name,
            "process": record.process,
        }
        for name, value in vars(record).items():
            if name not in _PLAIN and name not in _LEFT_OUT:
                line[name] = value
        if record.exc_info and record.exc_info[0] is not None:
            line["error"] = record.exc_info[0].__name__
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str)


def log_as_json(level: int = logging.INFO) -> None:
    """Send all logs of this process to standard error as JSON lines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    logging.captureWarnings(True)
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    # Says when a task starts and ends; ours say the same with job and shot.
    for name in ("celery.worker.strategy", "celery.app.trace", "kombu"):
        logging.getLogger(name).setLevel(logging.WARNING)


def log(level: int, message: str, **about: Any) -> None:
    """Log a line and what it is about."""
    LOGGER.log(level, message, extra=about)
