"""Files are whole or not there, and what killed writers leave is removed."""

import fcntl
from pathlib import Path

import pytest
from walks import files_below

from carrellata.jobs.places.atomic import (
    name_whole,
    remove_leftovers,
    whole_file,
    write_whole,
)


def test_bytes_replace_those_before_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "deep/er/a.bin"
    write_whole(path, b"one")
    write_whole(path, b"two")
    assert files_below(tmp_path) == {"deep/er/a.bin": b"two"}


def test_failure_names_the_file_and_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.mkdir()
    (path / "b").write_bytes(b"kept")
    with pytest.raises(OSError, match=r"a\.bin") as caught:
        write_whole(path, b"new")
    assert caught.value.filename == str(path)
    assert files_below(tmp_path) == {"a.bin/b": b"kept"}


def _give_up_on(path: Path) -> None:
    with whole_file(path) as file:
        file.write(b"two")
        assert path.read_bytes() == b"one"
        message = "halfway"
        raise ValueError(message)


def test_file_that_is_not_filled_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    write_whole(path, b"one")
    with pytest.raises(ValueError, match="halfway"):
        _give_up_on(path)
    assert files_below(tmp_path) == {"a.bin": b"one"}


def test_leftovers_of_the_dead_go_and_those_of_the_living_stay(tmp_path: Path) -> None:
    dead, living = tmp_path / ".a.1.part", tmp_path / "deep/.b.2.part"
    living.parent.mkdir()
    dead.write_bytes(b"half")
    (tmp_path / ".e.3.part").touch()  # killed before its first bytes went to the disk
    living.write_bytes(b"half")
    (tmp_path / "c.part").write_bytes(b"not ours")
    with living.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        remove_leftovers(tmp_path)
        assert set(files_below(tmp_path)) == {"deep/.b.2.part", "c.part"}
    remove_leftovers(tmp_path)
    assert set(files_below(tmp_path)) == {"c.part"}


def test_writer_whose_file_is_taken_for_a_leftover_begins_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock, swept = fcntl.flock, []

    def late(file: object, how: int) -> None:
        if not swept and how == fcntl.LOCK_EX:
            swept.append(files_below(tmp_path))
            remove_leftovers(tmp_path)
        lock(file, how)  # type: ignore[arg-type]

    monkeypatch.setattr(fcntl, "flock", late)
    write_whole(tmp_path / "a.bin", b"one")
    assert list(swept[0].values()) == [b""]
    assert files_below(tmp_path) == {"a.bin": b"one"}


def test_second_name_replaces_what_was_there_and_shares_the_file(
    tmp_path: Path,
) -> None:
    first, second = tmp_path / "history/a.bin", tmp_path / "takes/b.bin"
    write_whole(first, b"one")
    write_whole(second, b"old")
    name_whole(second, first)
    assert files_below(tmp_path) == {"history/a.bin": b"one", "takes/b.bin": b"one"}
    assert second.stat().st_ino == first.stat().st_ino
    write_whole(second, b"new")
    assert first.read_bytes() == b"one"


def test_second_name_is_a_copy_where_the_disk_has_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, target: Path) -> None:
        raise PermissionError(self, target)

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    write_whole(tmp_path / "a", b"one")
    name_whole(tmp_path / "b", tmp_path / "a")
    assert files_below(tmp_path) == {"a": b"one", "b": b"one"}
    assert (tmp_path / "a").stat().st_ino != (tmp_path / "b").stat().st_ino
