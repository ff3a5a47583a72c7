"""The sentence for each way in which a shot of a job can be wrong."""

from typing import Any

import pytest
from job_tables import a_job, a_shot, faults_of

from carrellata.jobs.job.parse import parse_job

SHOT_FAULTS = [
    ({"lens_mm": 45}, "lens_mm: 45 mm is not in the kit (18, 25, 35, 50)"),
    ({"lens_mm": "50"}, 'lens_mm: must be a number of mm or "choose", got "50"'),
    ({"lens_mm": True}, 'lens_mm: must be a number of mm or "choose", got true'),
    ({"lens_mm": -3}, "lens_mm: must be > 0 mm, got -3 mm"),
    ({"lens_mm": float("inf")}, "lens_mm: must be a finite number, got Infinity"),
    (
        {"frames": [1120, 1001]},
        "frames: the last frame must be >= the first, got 1120 to 1001",
    ),
    ({"frames": [1001]}, "frames: must have 2 values, got 1"),
    ({"frames": [1001, 1120.5]}, "frames[1]: must be a whole number, got 1120.5"),
    (
        {"frames": [1, 3_000_000]},
        "frames: a shot has at most 2000000 samples, "
        "got 3000000 frames with handles and pre-roll",
    ),
    (
        {"frames": [1, 1_000_000], "samples_per_frame": 4},
        "frames: a shot has at most 2000000 samples, "
        "got 1000000 frames with handles and pre-roll, 4 samples a frame",
    ),
    ({"handles": -1}, "handles: must be 0 to 2000000 frames, got -1"),
    ({"roll_deg": 120}, "roll_deg: must be <= 90 deg, got 120 deg"),
    ({"rol_deg": 1}, 'rol_deg: unknown field; did you mean "roll_deg"'),
    ({"zzz": 1}, "zzz: unknown field"),
    (
        {"name": "a b"},
        'name: must be 1 to 64 letters, digits, "_" or "-" and start with a letter '
        'or digit, got "a b"',
    ),
    ({"name": 10}, "name: must be text in quotes, got the number 10"),
    (
        {"rig": {"kind": "track", "from": [1, 2, 3], "to": [1, 2, 3]}},
        "rig: the track has no length, from and to are the same place",
    ),
    (
        {"rig": {"kind": "track", "from": [1, 2], "to": [1, 2, 3]}},
        "rig.from: must have 3 values, got 2",
    ),
    (
        {"rig": {"kind": "track", "from": [1, 2, 3]}},
        "rig.to: is required, in scene units",
    ),
    (
        {"rig": {"kind": "crane"}},
        'rig.kind: must be one of "sticks", "track", "arc", "choose", got "crane"',
    ),
    (
        {"rig": {"kind": "sticks", "at": [1, 2, 3], "sticks": 1}},
        "rig.sticks: unknown field",
    ),
    (
        {"frames": [1, 2_000_000], "preroll": 1},
        "frames: a shot has at most 2000000 samples, "
        "got 2000001 frames with handles and pre-roll",
    ),
    (
        {"frames": [9, 1], "cues": [{"frame": 5, "fill": 1}]},
        "frames: the last frame must be >= the first, got 9 to 1",
    ),
    ({"rig": {"at": [1, 2, 3]}}, "rig.kind: is required"),
    ({"rig": 3}, "rig: must be a table, got 3"),
    (
        {
            "rig": {
                "kind": "arc",
                "centre": [0, 0, 0],
                "radius": 0,
                "start_deg": 0,
                "sweep_deg": 9,
            }
        },
        "rig.radius: must be > 0 scene units, got 0 scene units",
    ),
    (
        {
            "rig": {
                "kind": "arc",
                "centre": [0, 0, 0],
                "radius": 1,
                "start_deg": 0,
                "sweep_deg": 0,
            }
        },
        "rig.sweep_deg: must not be 0 deg, the arc has no length",
    ),
    (
        {"view": "profile"},
        'view: needs a dolly with rig.hold = "view", or a rig to choose',
    ),
    (
        {"side": "left"},
        'side: needs a dolly with rig.hold = "view", or a rig to choose',
    ),
    (
        {
            "rig": {
                "kind": "track",
                "from": [0, 0, 0],
                "to": [1, 0, 0],
                "hold": "view",
            }
        },
        'view: is required with rig.hold = "view"',
    ),
    ({"view": 200}, "view: must be 0 (front) to 180 (rear) deg, got 200 deg"),
    (
        {"framing": {"angle": 90}},
        "framing.angle: must be between -90 and 90 deg, got 90 deg",
    ),
    (
        {"framing": {"angle": "low"}},
        'framing.angle: must be "below", "level", "above" or a number of degrees',
    ),
    (
        {"framing": {"size": "closeup"}},
        'framing.size: must be one of "full", "knee", "cowboy", "medium", "chest", '
        '"close", "eyes", got "closeup"; did you mean "close"',
    ),
    (
        {"cues": [{"frame": 1050}]},
        "cues[0]: changes nothing; give size, fill or subject",
    ),
    (
        {"cues": [{"frame": 1130, "size": "close"}], "handles": [0, 4]},
        "cues[0].frame: 1130 is outside the shot with its handles (1001 to 1124)",
    ),
    (
        {"cues": [{"frame": 1050, "size": "close"}, {"frame": 1050, "fill": 2}]},
        "cues[1].frame: cues must rise, got 1050 after 1050",
    ),
    (
        {"cues": [{"frame": 1050, "subject": "guard"}]},
        'cues[0].subject: "guard" is not a subject of the shot (courier)',
    ),
    (
        {"cues": [{"frame": 1050, "size": "close", "how": "whip"}]},
        "cues[0]: a whip needs the subject it goes to",
    ),
    (
        {"shake": "roughly"},
        'shake.level: must be one of "locked", "settled", "shoulder", "rough", '
        'got "roughly"; did you mean "rough"',
    ),
    (
        {"shake": {"percent": 1, "degrees": 1}},
        "shake: has both percent and degrees; keep one",
    ),
    ({"shake": {"band_hz": [4, 2]}}, "shake: band_hz must rise, got 4 to 2 Hz"),
    ({"shake": {"band_hz": [1, 11]}}, "shake.band_hz[1]: must be <= 10 Hz, got 11 Hz"),
    (
        {"crew": {"grip": {"max_accel": -1}}},
        "crew.grip.max_accel: must be > 0 m/s2, got -1 m/s2",
    ),
    (
        {"crew": {"preset": "brsk"}},
        'crew.preset: must be one of "steady", "brisk", "sharp", "heavy_head" or a '
        'crew\'s file ending in ".toml", got "brsk"; did you mean "brisk"',
    ),
    (
        {"camera": {"film_back": "super36-4perf"}},
        "camera.film_back: must be one of super35-4perf, super35-3perf, academy, "
        "anamorphic-4perf, full-frame, super16, 16mm, 65mm-5perf, 35mm-8perf, got "
        '"super36-4perf"; did you mean "super35-4perf"',
    ),
    (
        {"camera": {"lens_kit_mm": [50, 35, 50]}},
        "camera.lens_kit_mm: 50 mm is in the kit twice",
    ),
    (
        {"camera": {"lens_kit_mm": []}},
        "camera.lens_kit_mm: must have at least 1 values, got 0",
    ),
    (
        {"camera": {"stop": 2, "lenses": [{"mm": 50, "widest_stop": 2.8}]}},
        "camera.stop: f/2 is wider than the 50 mm lens opens (f/2.8)",
    ),
    ({"subjects": []}, "subjects: must have at least 1 values, got 0"),
    # Built later.
    (
        {"crew": {"preset": "ours.toml"}},
        'crew.preset: "ours.toml" is read only with a job that is a file itself',
    ),
]


@pytest.mark.parametrize(("fields", "line"), SHOT_FAULTS)
def test_a_fault_of_a_shot_is_one_sentence(fields: dict[str, Any], line: str) -> None:
    assert faults_of(a_job(a_shot(**fields))) == [f"shots[0].{line}"]


def test_shake_must_fit_the_frame_rate() -> None:
    job = a_job(a_shot(shake={"band_hz": [0.5, 8]}), rate="12")
    assert faults_of(job) == [
        "shots[0].shake.band_hz: the top must be <= 5.4 Hz (0.45 of 12 frames a "
        "second), got 8 Hz"
    ]
    parse_job(a_job(a_shot(shake={"band_hz": [0.5, 5.4]}), rate="12"))
