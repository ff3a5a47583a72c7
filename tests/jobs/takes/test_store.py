"""Current and replaced takes of a sequence."""

from pathlib import Path

import pyarrow as pa
import pytest
from walks import files_below, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.keys import Keys, keys_of
from carrellata.jobs.takes.parquet_form import take_bytes
from carrellata.jobs.takes.store import Store, stores_below
from carrellata.jobs.takes.take_file import read_take


def solved(lens_mm: int) -> tuple[Keys, pa.Table]:
    job = parse_job(walking_job(walking_shot("010", lens_mm=lens_mm)))
    prepared = prepare(job, job.shots[0], Path())
    keys = keys_of(job, prepared.spec, prepared.inputs)
    return keys, solve_prepared(job, prepared, keys)


@pytest.fixture(scope="module", name="wide")
def _wide() -> tuple[Keys, pa.Table]:
    return solved(18)


@pytest.fixture(scope="module", name="long")
def _long() -> tuple[Keys, pa.Table]:
    return solved(35)


Take = tuple[Keys, pa.Table]


def test_empty_store_has_nothing(tmp_path: Path, wide: Take) -> None:
    assert Store(folder=tmp_path / "chase").find("010", wide[0]) is None


def test_take_is_found_by_its_keys_only(tmp_path: Path, wide: Take, long: Take) -> None:
    store = Store(folder=tmp_path)
    store.put("010", wide[0], wide[1].to_reader())
    found = store.find("010", wide[0])
    assert found is not None
    assert take_bytes(found) == take_bytes(wide[1])
    assert store.find("010", long[0]) is None
    assert store.find("020", wide[0]) is None


def test_every_take_is_in_the_history_and_comes_back(
    tmp_path: Path, wide: Take, long: Take
) -> None:
    store = Store(folder=tmp_path)
    store.put("010", wide[0], wide[1].to_reader())
    store.put("010", long[0], long[1].to_reader())
    history = {f"history/010/{keys.take}.parquet" for keys, _ in (wide, long)}
    assert set(files_below(tmp_path)) == {"takes/010.parquet", *history}
    assert store.find("010", wide[0]) is not None
    assert store.take("010").read_bytes() == take_bytes(wide[1])
    assert store.kept("010", long[0].take).read_bytes() == take_bytes(long[1])


@pytest.mark.parametrize("length", [0, 4, 2000])
def test_damaged_current_take_is_neither_found_nor_kept(
    tmp_path: Path, wide: Take, long: Take, length: int
) -> None:
    store = Store(folder=tmp_path)
    store.put("010", wide[0], wide[1].to_reader())
    path = store.take("010")
    path.write_bytes(path.read_bytes()[:length])
    assert store.find("010", wide[0]) is None
    store.put("010", long[0], long[1].to_reader())
    assert store.find("010", wide[0]) is None
    assert read_take(store.take("010")).equals(long[1])
    store.put("010", wide[0], wide[1].to_reader())
    assert store.kept("010", wide[0].take).read_bytes() == take_bytes(wide[1])


def test_damaged_history_is_not_restored(
    tmp_path: Path, wide: Take, long: Take
) -> None:
    store = Store(folder=tmp_path)
    store.put("010", wide[0], wide[1].to_reader())
    store.put("010", long[0], long[1].to_reader())
    path = store.kept("010", wide[0].take)
    path.write_bytes(path.read_bytes()[:500])
    assert store.find("010", wide[0]) is None
    assert read_take(store.take("010")).equals(long[1])


def test_prune_removes_history_but_what_is_kept(
    tmp_path: Path, wide: Take, long: Take
) -> None:
    store = Store(folder=tmp_path)
    for keys, table in (wide, long):
        store.put("010", keys, table.to_reader())
    current = f"history/010/{long[0].take}.parquet"
    assert store.prune({wide[0].take}) == ()
    assert store.prune() == (store.kept("010", wide[0].take),)
    assert set(files_below(tmp_path)) == {"takes/010.parquet", current}
    store.take("010").unlink()
    assert store.prune() == (store.kept("010", long[0].take),)
    assert not (tmp_path / "history/010").exists()


def test_sequences_are_found_below_a_folder_and_in_it(
    tmp_path: Path, wide: Take
) -> None:
    store = Store(folder=tmp_path / "chase")
    store.put("010", wide[0], wide[1].to_reader())
    assert stores_below(tmp_path) == (store,)
    assert stores_below(tmp_path / "chase") == (store,)
    assert stores_below(tmp_path / "none") == ()
