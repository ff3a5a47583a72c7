"""Logs: one JSON object a line, whatever stands in it."""

import json
import logging
import sys

from carrellata.worker.farm.logs import JsonLines


def test_line_is_json_with_what_it_is_about() -> None:
    record = logging.makeLogRecord(
        {"msg": 'two\nlines "quoted"', "levelname": "INFO", "job": "j", "shot": "010"}
    )
    line = JsonLines().format(record)
    assert "\n" not in line
    read = json.loads(line)
    assert read["message"] == 'two\nlines "quoted"'
    assert (read["job"], read["shot"], read["level"]) == ("j", "010", "info")


def test_error_is_in_its_line() -> None:
    try:
        message = "broken"
        raise ValueError(message)
    except ValueError:
        record = logging.makeLogRecord({"msg": "x", "exc_info": sys.exc_info()})
    read = json.loads(JsonLines().format(record))
    assert read["error"] == "ValueError"
    assert "broken" in read["trace"]
