"""The table of a take: its columns, its axes, its bytes."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from walks import FIRST, LAST, files_below, walk, walking_job, walking_shot

from carrellata.jobs.errors import InputError
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.keys import keys_of
from carrellata.jobs.takes.metadata import METADATA_KEY, take_metadata
from carrellata.jobs.takes.parquet_form import take_bytes
from carrellata.jobs.takes.take_file import read_take, write_take
from carrellata.solver.take import operate

TEXT = pa.dictionary(pa.int32(), pa.string())
REAL, TRUTH = pa.float64(), pa.bool_()
AGREED = [
    (("sequence", "shot"), TEXT),
    (("frame",), pa.int32()),
    (("sub",), pa.int16()),
    (("time_s",), REAL),
    (("handle",), TRUTH),
    (("x", "y", "z", "pan_deg", "tilt_deg", "roll_deg"), REAL),
    (("shake_x_m", "shake_y_m", "shake_z_m"), REAL),
    (("shake_pan_deg", "shake_tilt_deg", "shake_roll_deg"), REAL),
    (("cam_x", "cam_y", "cam_z", "qx", "qy", "qz", "qw"), REAL),
    (("focal_mm", "focus_m", "stop", "dof_near_m", "dof_far_m"), REAL),
    (("soft",), TRUTH),
    (("rail_m", "rail_speed", "rail_accel"), REAL),
    (("pan_speed", "pan_accel", "tilt_speed", "tilt_accel"), REAL),
    (("subject",), TEXT),
    (("subject_x", "subject_y", "subject_z"), REAL),
    (("subject_u", "subject_v", "subject_size", "aim_u", "aim_v"), REAL),
    (("in_frame", "body_in_frame", "in_safe"), TRUTH),
    (("crown_u", "crown_v", "chin_u", "chin_v"), REAL),
    (("head_in_frame",), TRUTH),
    (("headroom",), REAL),
    (("hidden_by",), TEXT),
    (("decided_pan", "decided_tilt", "decided_dolly"), TRUTH),
]
TEXTS = ("sequence", "shot", "subject", "hidden_by")
COLUMNS = {name: kind for names, kind in AGREED for name in names}


def solved(**fields: Any) -> pa.Table:
    """Return the table of a walking shot with fields of it, or the job, replaced."""
    job_fields = {k: fields.pop(k) for k in ("world", "camera") if k in fields}
    job = parse_job(walking_job(walking_shot("010", **fields), **job_fields))
    prepared = prepare(job, job.shots[0], Path())
    return solve_prepared(job, prepared, keys_of(job, prepared.spec, prepared.inputs))


def column(table: pa.Table, name: str) -> np.ndarray:
    return table[name].to_numpy()


def test_columns_have_the_agreed_names_types_and_order(tmp_path: Path) -> None:
    write_take(solved().to_reader(), tmp_path / "010.parquet")
    read = read_take(tmp_path / "010.parquet")
    assert {f.name: f.type for f in read.schema} == COLUMNS
    assert read.column_names == list(COLUMNS)


def test_take_reads_back_as_it_was_written(tmp_path: Path) -> None:
    table = solved()
    write_take(table.to_reader(), tmp_path / "010.parquet")
    read = read_take(tmp_path / "010.parquet")
    assert take_bytes(read) == take_bytes(table)
    assert set(files_below(tmp_path)) == {"010.parquet"}


def test_file_is_one_zstd_row_group_with_dictionaries_on_text_only(
    tmp_path: Path,
) -> None:
    write_take(solved().to_reader(), tmp_path / "a.parquet")
    described = pq.ParquetFile(tmp_path / "a.parquet").metadata
    assert described.num_row_groups == 1
    group = described.row_group(0)
    for k in range(group.num_columns):
        part = group.column(k)
        assert part.compression == "ZSTD"
        dictionary = any("DICTIONARY" in e for e in part.encodings)
        assert dictionary == (part.path_in_schema in TEXTS)


def test_metadata_is_found_by_whoever_reads_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    write_take(solved().to_reader(), path)
    told = pq.read_table(path).schema.metadata
    assert json.loads(told[b"carrellata"])["status"] == "solved"
    assert pq.read_schema(path).metadata == told
    assert pq.ParquetFile(path).metadata.metadata[b"carrellata"] == told[b"carrellata"]


def test_same_shot_gives_the_same_bytes() -> None:
    assert take_bytes(solved()) == take_bytes(solved())


def test_rows_are_the_samples_of_cut_and_handles() -> None:
    table = solved(samples_per_frame=3)
    frame, sub = column(table, "frame"), column(table, "sub")
    assert frame.tolist() == np.repeat(np.arange(FIRST - 4, LAST + 5), 3).tolist()
    assert sub.tolist() == [0, 1, 2] * (LAST - FIRST + 9)
    assert column(table, "time_s") == pytest.approx((frame + sub / 3) * 1001 / 24000)
    assert (column(table, "handle") == ((frame < FIRST) | (frame > LAST))).all()


@pytest.mark.parametrize("up", ["y", "z"])
def test_final_pose_looks_where_pan_and_tilt_say(up: str) -> None:
    table = solved(**in_axes(up), shake="locked")
    pan, tilt = (np.radians(column(table, f"{n}_deg")) for n in ("pan", "tilt"))
    across, ahead, rise = (
        -np.sin(pan) * np.cos(tilt),
        np.cos(pan) * np.cos(tilt),
        np.sin(tilt),
    )
    expected = [across, ahead, rise] if up == "z" else [across, rise, -ahead]
    x, y, z, w = (column(table, f"q{n}") for n in "xyzw")
    back = np.stack([2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)])
    assert -back == pytest.approx(np.stack(expected), abs=1e-12)
    assert np.ptp(pan) > 0.01


@pytest.mark.parametrize("up", ["y", "z"])
def test_camera_is_on_its_track_in_scene_units(up: str) -> None:
    table = solved(**in_axes(up))
    flat, height = ("z", "y") if up == "y" else ("y", "z")
    assert column(table, flat) == pytest.approx(0.0, abs=1e-9)
    assert column(table, height) == pytest.approx(150.0)
    assert column(table, "x") == pytest.approx(100 * column(table, "rail_m"))
    assert np.ptp(column(table, "x")) > 5.0


def test_same_scene_in_other_axes_gives_the_same_angles_and_picture() -> None:
    one, two = solved(**in_axes("y")), solved(**in_axes("z"))
    for name in ("pan_deg", "tilt_deg", "rail_m", "focus_m", "subject_u", "soft"):
        assert column(one, name) == pytest.approx(column(two, name), abs=1e-9), name


def test_final_pose_is_the_base_with_the_shake_in_camera_axes() -> None:
    # Only the turn shakes in this level, so places differ by the lens's offset alone.
    table = solved(shake={"level": "rough", "degrees": 0.5})
    base = np.stack([column(table, n) for n in "xyz"])
    final = np.stack([column(table, f"cam_{n}") for n in "xyz"])
    shake = np.stack([column(table, f"shake_{n}_m") for n in "xyz"])
    moved = np.linalg.norm(final - base, axis=0) * 0.01
    assert moved == pytest.approx(np.linalg.norm(shake, axis=0), abs=1e-12)
    assert np.abs(column(table, "shake_pan_deg")).max() > 0.05


def test_speeds_are_derivatives_of_what_they_belong_to() -> None:
    table = solved(samples_per_frame=16)
    time = column(table, "time_s")
    for value, speed in (
        ("pan_deg", "pan_speed"),
        ("tilt_deg", "tilt_speed"),
        ("rail_m", "rail_speed"),
        ("pan_speed", "pan_accel"),
    ):
        slope = np.gradient(column(table, value), time)[1:-1]
        given = column(table, speed)[1:-1]
        # Central differences err by step^2 / 6 times the jerk, 1500 deg/s3 at most.
        assert slope == pytest.approx(given, abs=1e-2 + 0.02 * np.abs(given).max())
        assert np.abs(given).max() > 0.0


def test_far_limit_beyond_the_hyperfocal_distance_is_infinite() -> None:
    camera = {**walking_job()["camera"], "stop": 22}
    table = solved(camera=camera, lens_mm=18)
    assert np.isposinf(column(table, "dof_far_m")).all()
    assert (column(table, "stop") == 22).all()
    assert (column(table, "focal_mm") == 18).all()


def test_hidden_subject_has_no_place_on_the_screen() -> None:
    samples = walk()
    visible = [not FIRST + 5 <= f <= FIRST + 9 for f in samples["frame"]]
    subject = {
        "name": "runner",
        "samples": {**samples, "visible": visible},
        "at": "floor",
        "height_m": 1.7,
    }
    table = solved(subjects=[subject])
    frame = column(table, "frame")
    hidden = (frame >= FIRST + 5) & (frame <= FIRST + 9)
    for name in ("subject_u", "subject_v", "subject_size", "crown_v", "headroom"):
        assert (np.isnan(column(table, name)) == hidden).all()
    assert not column(table, "in_frame")[hidden].any()


def test_subject_column_names_who_is_primary() -> None:
    two = [
        {"name": n, "samples": walk(bend=b), "at": "floor", "height_m": 1.7}
        for n, b in (("runner", 40.0), ("guard", 10.0))
    ]
    table = solved(subjects=two, cues=[{"frame": FIRST + 10, "subject": "guard"}])
    names = np.array(table["subject"].to_pylist())
    frame = column(table, "frame")
    assert set(names[frame < FIRST + 10]) == {"runner"}
    assert set(names[frame >= FIRST + 10]) == {"guard"}


def test_decisions_stand_on_the_sample_of_their_cue() -> None:
    two = [
        {"name": n, "samples": walk(bend=b), "at": "floor", "height_m": 1.7}
        for n, b in (("runner", 40.0), ("guard", -120.0))
    ]
    cue = {"frame": FIRST + 10, "subject": "guard", "how": "whip"}
    table = solved(subjects=two, cues=[cue], samples_per_frame=2)
    at = (column(table, "frame") == FIRST + 10) & (column(table, "sub") == 0)
    for name in ("decided_pan", "decided_tilt", "decided_dolly"):
        assert column(table, name)[at].all()
        assert column(table, name).sum() < 20


def test_metadata_says_what_the_columns_do_not() -> None:
    table = solved(shake="locked")
    metadata = json.loads(table.schema.metadata[METADATA_KEY])
    assert set(metadata) == {
        *("schema", "keys", "model", "rate", "axes", "units"),
        *("setup", "gate", "rail", "knots", "asked", "crew", "measures", "status"),
        *("grip_sheet", "ends"),
    }
    assert metadata["schema"] == "carrellata.take/1"
    assert metadata["rate"] == "24000/1001"
    assert metadata["axes"]["up"] == "z"
    assert metadata["axes"]["metres_per_unit"] == 0.01
    assert metadata["units"]["pan_speed"] == "deg/s"
    assert metadata["units"]["cam_x"] == "unit"
    assert metadata["setup"]["lens_mm"] == 25
    gate = metadata["gate"]
    assert gate["tan_u"] == pytest.approx(24.89 / (2 * 25))
    assert gate["tan_u"] == pytest.approx(gate["width_mm"] / (2 * 25))
    assert gate["render_tan_v"] == pytest.approx(gate["tan_v"] * gate["overscan"])
    assert metadata["rail"]["kind"] == "track"
    assert metadata["rail"]["length_m"] == pytest.approx(5.0)
    assert metadata["rail"]["origin"] == pytest.approx([0, 0, 150])
    assert metadata["rail"]["direction"] == pytest.approx([1, 0, 0])
    for name in ("rail_m", "pan_deg", "tilt_deg"):
        first, *_, last = metadata["knots"][name]
        assert first[1] == pytest.approx(column(table, name)[0], abs=1e-12)
        assert last[1] == pytest.approx(column(table, name)[-1], abs=1e-12)
    assert metadata["crew"]["operator"]["max_speed"] == pytest.approx(90)
    assert metadata["measures"]["frames"] == LAST - FIRST + 1
    json.dumps(metadata, allow_nan=False)


@pytest.mark.parametrize("up", ["y", "z"])
def test_metadata_is_read_and_written_back_as_the_same_text(up: str) -> None:
    arc = {"kind": "arc", "centre": [0, 0, 100], "radius": 300.0}
    if up == "y":
        arc["centre"] = [0, 100, 0]
    fields = {**in_axes(up), "rig": {**arc, "start_deg": 20.0, "sweep_deg": 70.0}}
    table = solved(**fields)
    read = take_metadata(table)
    assert read.json().encode() == table.schema.metadata[METADATA_KEY]
    assert read.rail.kind == "arc"
    np.testing.assert_allclose(read.rail.shape.origin, [0.0, 1.0, 0.0], atol=1e-12)
    assert read.gate.aspect == pytest.approx(read.gate.tan_u / read.gate.tan_v)


@pytest.mark.parametrize(
    "text", ["[]", "{}", "null", '{"schema":"carrellata.take/1"}', "\x00"]
)
def test_a_take_whose_metadata_is_of_another_form_is_refused(
    tmp_path: Path, text: str
) -> None:
    table = solved()
    metadata = {**table.schema.metadata, METADATA_KEY: text}
    path = tmp_path / "010.parquet"
    path.write_bytes(take_bytes(table.replace_schema_metadata(metadata)))
    with pytest.raises(InputError, match=r"carrellata\.take/1"):
        read_take(path)


@pytest.mark.parametrize("share", [0.0, 0.5, 0.999])
def test_cut_off_take_is_refused(tmp_path: Path, share: float) -> None:
    data = take_bytes(solved())
    path = tmp_path / "010.parquet"
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(InputError, match=r"010\.parquet: is damaged"):
        read_take(path)


def test_flipped_bit_is_refused_or_changes_no_value(tmp_path: Path) -> None:
    # Statistics and page offsets hold no values, and the reader skips some.
    table = solved()
    data, path = take_bytes(table), tmp_path / "010.parquet"
    refused = 0
    for at in np.random.default_rng(1).integers(0, len(data), size=60):
        damaged = bytearray(data)
        damaged[at] ^= 0x10
        path.write_bytes(damaged)
        try:
            read = read_take(path)
        except InputError:
            refused += 1
        else:
            assert (
                take_bytes(read.replace_schema_metadata(table.schema.metadata)) == data
            )
    assert refused > 20


def test_other_table_is_refused(tmp_path: Path) -> None:
    pq.write_table(pa.table({"frame": [1]}), tmp_path / "010.parquet")
    with pytest.raises(InputError, match=r"carrellata\.take/1"):
        read_take(tmp_path / "010.parquet")


def test_missing_take_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_take(tmp_path / "010.parquet")


def test_hidden_by_names_what_hides_and_is_null_elsewhere() -> None:
    boxes = [
        {"name": name, "from": [x, 200, 0], "to": [x + 20, 220, 300]}
        for name, x in (("spare", 5000), ("late", 160), ("early", 120))
    ]
    rig = {"kind": "sticks", "at": [150, 0, 150]}
    job = parse_job(
        walking_job(walking_shot("010", rig=rig, stage={"keep_outs": boxes}))
    )
    prepared = prepare(job, job.shots[0], Path())
    keys = keys_of(job, prepared.spec, prepared.inputs)
    table = solve_prepared(job, prepared, keys)
    named = operate(prepared.shot).hidden_by
    assert table["hidden_by"].to_pylist() == named
    assert {None, "late", "early"} == set(named)
    encoded = table["hidden_by"].combine_chunks()
    assert encoded.dictionary.to_pylist() == list(filter(None, dict.fromkeys(named)))
    nowhere = solved()["hidden_by"].combine_chunks()
    assert (nowhere.null_count, len(nowhere.dictionary)) == (len(nowhere), 0)


def in_axes(up: str) -> dict[str, Any]:
    """Return the walking shot's fields with its scene in the axes asked for."""
    world = {"up": up, "metres_per_unit": 0.01}
    if up == "z":
        return {"world": world}
    samples = walk()
    turned = {**samples, "y": samples["z"], "z": [-y for y in samples["y"]]}
    subject = {"name": "runner", "samples": turned, "at": "floor", "height_m": 1.7}
    rig = {"kind": "track", "from": [0, 150, 0], "to": [500, 150, 0]}
    return {"world": world, "subjects": [subject], "rig": rig}


def test_point_aimed_at_projects_to_the_place_in_the_frame() -> None:
    table = solved(framing={"size": "medium"})
    metadata = take_metadata(table)
    unit_m = metadata.world.metres_per_unit
    away = [
        (column(table, f"subject_{name}") - column(table, name)) * unit_m
        for name in "xyz"
    ]
    right, ahead, up = away if metadata.world.up == "z" else (0, 0, 0)
    pan, tilt = (np.radians(column(table, f"{name}_deg")) for name in ("pan", "tilt"))
    across = np.cos(pan) * right + np.sin(pan) * ahead
    ahead = np.cos(pan) * ahead - np.sin(pan) * right
    depth = np.cos(tilt) * ahead + np.sin(tilt) * up
    u = across / depth / metadata.gate.tan_u
    assert np.ptp(u) > 0.01
    np.testing.assert_allclose(u, column(table, "subject_u"), atol=1e-9)
