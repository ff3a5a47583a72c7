"""Small valid jobs as plain tables, for tests to bend."""

from typing import Any


def a_shot(**fields: Any) -> dict[str, Any]:
    """Return the tables of a shot on straight track, with fields replaced."""
    subject = {"name": "courier", "file": "c.csv", "at": "floor", "height_m": 1.72}
    shot = {
        "name": "010",
        "frames": [1001, 1120],
        "subjects": [subject],
        "rig": {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]},
        "lens_mm": 50,
    }
    return shot | fields


def a_job(*shots: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return the tables of a job with these shots, or one, and fields replaced."""
    job = {
        "schema": "carrellata.job/1",
        "sequence": "ferry_dash",
        "rate": "24000/1001",
        "world": {"up": "z", "metres_per_unit": 0.01},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [18, 25, 35, 50]},
        "defaults": {"framing": {"size": "full"}},
        "shots": list(shots) or [a_shot()],
    }
    return job | fields
