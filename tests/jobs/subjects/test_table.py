import io

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from subject_files import faults, faults_of, read, reference, walk, write

from carrellata.jobs.subjects import arrow_stream, source

FILE = "shots[2].subjects[0].file"


def full_walk():
    columns = walk()
    n_rows = len(columns["frame"])
    return columns | {
        "head_x": columns["x"] + 0.1,
        "head_y": columns["y"] + 1.5,
        "head_z": columns["z"],
        "facing_deg": np.linspace(-200.0, 200.0, n_rows),
        "visible": np.arange(n_rows) % 10 != 7,
        "mood": ["calm"] * n_rows,
    }


def ipc_bytes(table, *, stream=False, compression=None, chunk=40):
    sink = io.BytesIO()
    options = pa.ipc.IpcWriteOptions(compression=compression)
    opened = (pa.ipc.new_stream if stream else pa.ipc.new_file)(
        sink, table.schema, options=options
    )
    with opened as writer:
        writer.write_table(table, max_chunksize=chunk)
    return sink.getvalue()


@pytest.mark.parametrize("name", ["a.parquet", "a.arrow", "a.csv", "A.CSV"])
def test_every_format_gives_the_columns_that_were_written(tmp_path, name):
    columns = full_walk()
    write(tmp_path / name.lower(), columns).rename(tmp_path / name)
    track = read(reference(file=name), tmp_path)
    expected = np.column_stack([columns["x"], columns["y"], columns["z"]])
    head = np.column_stack([columns["head_x"], columns["head_y"], columns["head_z"]])
    assert_allclose(track.floor, expected, rtol=0, atol=1e-12)
    assert_allclose(track.eyes, head, rtol=0, atol=1e-12)
    assert_allclose(track.facing_rad, np.radians(columns["facing_deg"]), atol=1e-12)
    assert_array_equal(track.visible, columns["visible"])
    assert_array_equal(track.frames, columns["frame"])


@pytest.mark.parametrize("compression", [None, "lz4", "zstd"])
@pytest.mark.parametrize("stream", [False, True])
def test_arrow_files_and_streams_read_alike_compressed_or_not(
    tmp_path, stream, compression
):
    columns = full_walk()
    data = ipc_bytes(pa.table(columns), stream=stream, compression=compression)
    (tmp_path / "a.arrow").write_bytes(data)
    track = read(reference(file="a.arrow"), tmp_path)
    assert_allclose(track.floor[:, 0], columns["x"], rtol=0, atol=0)
    size = arrow_stream.measure(data)
    assert size.n_rows == 110
    # Seven columns of eight bytes, one of bits, one of text with 4-byte offsets.
    assert 110 * 72 < size.n_bytes < 110 * 72 + 3000


def test_inline_samples_read_as_a_table(tmp_path):
    columns = {name: list(map(float, v)) for name, v in walk().items()}
    columns["frame"] = [int(frame) for frame in columns["frame"]]
    track = read(reference(samples=columns), tmp_path)
    assert_allclose(track.floor[:, 2], columns["z"], atol=0)
    assert len(track.digest) == 64


def test_columns_may_have_names_of_their_own(tmp_path):
    columns = walk()
    renamed = {"shot_frame": columns["frame"], "tx": columns["x"], "ty": columns["y"]}
    write(tmp_path / "a.csv", renamed | {"tz": columns["z"], "x": columns["x"] * 0})
    titles = {"frame": "shot_frame", "x": "tx", "y": "ty", "z": "tz"}
    track = read(reference(file="a.csv", columns=titles), tmp_path)
    assert_allclose(track.floor[:, 0], columns["x"], atol=1e-12)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_csv_of_any_writer_is_read(tmp_path, end):
    lines = ["\ufeffframe,x,y,z,visible", "1001,1,2,3,true", '1002,"1",2.5,3e0,0']
    lines[2] = lines[2][:-1] + "false"
    (tmp_path / "x.csv").write_bytes((end.join(lines) + end).encode())
    track = read(reference(file="x.csv"), tmp_path, last_frame=1002)
    assert_allclose(track.floor, [[1, 2, 3], [1, 2.5, 3]])
    assert_array_equal(track.visible, [True, False])


@pytest.mark.parametrize(
    "text",
    ["frame\rx\ry\rz\r1\r", "x" * 2**21, '"' + "y" * 200_000, "frame,x,y,z\n1,2\n"],
)
def test_csv_that_is_none_is_refused(tmp_path, text):
    (tmp_path / "x.csv").write_text(text)
    (line, *_) = faults(reference(file="x.csv"), tmp_path)
    assert line.startswith(f"{FILE}: 'x.csv' ")
    assert len(line) < 300


def test_missing_columns_are_all_named_with_what_is_there(tmp_path):
    columns = walk()
    del columns["z"], columns["frame"]
    lines = faults_of(tmp_path, columns | {"head_x": columns["x"]})
    there = "only x, y, head_x"
    assert lines == [
        f"{FILE}: 'x.parquet' has no column 'frame' or 'time_s', {there}",
        f"{FILE}: 'x.parquet' has no column 'z', {there}",
        f"{FILE}: 'x.parquet' has no column 'head_y', {there}",
        f"{FILE}: 'x.parquet' has no column 'head_z', {there}",
    ]


@pytest.mark.parametrize("name", ["x.parquet", "x.arrow", "x.csv"])
def test_wrong_types_are_all_named(tmp_path, name):
    columns = walk()
    columns["frame"] = columns["frame"] + 0.5
    columns["y"] = ["high"] * 110
    columns["visible"] = ["maybe"] * 110
    assert faults_of(tmp_path, columns, name) == [
        f"{FILE}: '{name}' column 'frame' is of type double, must be whole numbers "
        "(others: 'time_s')",
        f"{FILE}: '{name}' column 'y' is of type string, must be numbers",
        f"{FILE}: '{name}' column 'visible' is of type string, must be true or false",
    ]


def test_a_column_that_is_there_twice_is_refused(tmp_path):
    (tmp_path / "x.csv").write_text("frame,x,y,z,x\n1001,0,0,0,1\n")
    lines = faults(reference(file="x.csv"), tmp_path)
    assert lines == [f"{FILE}: 'x.csv' has the column 'x' 2 times"]


@pytest.mark.parametrize("name", ["x.parquet", "x.arrow", "x.csv"])
def test_a_table_without_rows_is_refused(tmp_path, name):
    empty = {column: values[:0] for column, values in walk().items()}
    assert faults_of(tmp_path, empty, name) == [f"{FILE}: '{name}' has no rows"]


@pytest.mark.parametrize("name", ["x.parquet", "x.arrow", "x.bvh"])
@pytest.mark.parametrize(
    "data", [b"PAR1 but no table", b"ARROW1\x00\x00cut", b"\x00\xff" * 50]
)
def test_bytes_of_another_kind_are_refused(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    spec = reference(file=name, units="m", up="y", first_sample_at=1)
    (line,) = faults(spec, tmp_path)
    assert line.startswith(f"{FILE}: '{name}' ")
    assert "\n" not in line


@pytest.mark.parametrize("name", ["x.parquet", "x.arrow", "x.csv"])
def test_a_file_cut_short_or_flipped_never_ends_in_another_error(tmp_path, name):
    whole = write(tmp_path / name, walk()).read_bytes()
    random = np.random.default_rng(7)
    for _ in range(60):
        data = bytearray(whole[: random.integers(1, len(whole))])
        data[random.integers(len(data))] ^= 1 << random.integers(8)
        (tmp_path / name).write_bytes(data)
        faults(reference(file=name), tmp_path, first_frame=0, last_frame=1)


def test_files_that_are_not_there_or_not_ours_are_refused(tmp_path):
    (tmp_path / "a.fbx").write_bytes(b"x")
    (tmp_path / "a.csv").write_bytes(b" \n")
    (tmp_path / "b.csv").mkdir()
    assert faults(reference(file="a.fbx"), tmp_path) == [
        f"{FILE}: 'a.fbx' must end in one of .parquet, .arrow, .csv, .bvh"
    ]
    assert faults(reference(file="a.csv"), tmp_path) == [f"{FILE}: 'a.csv' is empty"]
    for name in ("b.csv", "c.csv", "../none/c.csv"):
        assert faults(reference(file=name), tmp_path) == [
            f"{FILE}: '{name}' is not a file"
        ]


def test_files_outside_the_folder_of_the_job_are_read(tmp_path):
    (tmp_path / "job").mkdir()
    path = write(tmp_path / "x.parquet", walk())
    for name in ("../x.parquet", str(path)):
        assert len(read(reference(file=name), tmp_path / "job").frames) == 110


def test_a_parquet_file_that_unpacks_to_too_much_is_refused_unread(
    tmp_path, monkeypatch
):
    n_rows = 2_000_000
    zeros = np.zeros(n_rows)
    columns = {"frame": np.zeros(n_rows, dtype=np.int64), "x": zeros, "y": zeros}
    table = pa.table(columns | {"z": zeros})
    pq.write_table(table, tmp_path / "x.parquet", compression="zstd")
    assert (tmp_path / "x.parquet").stat().st_size < 100_000
    monkeypatch.setattr(source, "MAX_BYTES", 50 * 2**20)
    monkeypatch.setattr(pq.ParquetFile, "read", None)
    (line,) = faults(reference(file="x.parquet"), tmp_path)
    assert line == f"{FILE}: 'x.parquet' unpacks to 61 MB, limit 50 MB"


def test_an_arrow_file_that_unpacks_to_too_much_is_refused_unread(
    tmp_path, monkeypatch
):
    zeros = np.zeros(3_000_000)
    table = pa.table(dict.fromkeys(("time_s", "x", "y", "z"), zeros))
    data = ipc_bytes(table, compression="zstd", chunk=len(zeros))
    assert len(data) < 100_000
    (tmp_path / "x.arrow").write_bytes(data)
    monkeypatch.setattr(source, "MAX_BYTES", 50 * 2**20)
    (line,) = faults(reference(file="x.arrow"), tmp_path)
    assert line == f"{FILE}: 'x.arrow' unpacks to 92 MB, limit 50 MB"


def test_too_many_rows_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(source, "MAX_ROWS", 109)
    for name in ("x.parquet", "x.arrow", "x.csv"):
        (line,) = faults_of(tmp_path, walk(), name)
        assert line.startswith(f"{FILE}: '{name}' has 11")
        assert line.endswith("rows, limit 109")


def test_a_file_larger_than_the_limit_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(source, "MAX_BYTES", 2**20)
    (tmp_path / "x.csv").write_bytes(b"frame,x,y,z\n" + b"1,0,0,0\n" * 2**18)
    (line,) = faults(reference(file="x.csv"), tmp_path)
    assert line == f"{FILE}: 'x.csv' is larger than 1 MB"


def test_a_stored_buffer_of_a_compressed_stream_counts_as_it_is():
    noise = np.random.default_rng(3).standard_normal(1000)
    data = ipc_bytes(pa.table({"x": noise}), stream=True, compression="zstd")
    assert arrow_stream.measure(data).n_bytes >= 8000
