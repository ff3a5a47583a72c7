"""What a built distribution holds."""

import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("solver", "jobs", "worker")


def build(root: Path, target: str, folder: Path) -> Path:
    """Build one distribution of the tree at root and return its file."""
    before = set(folder.iterdir())
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(folder)],
        cwd=root,
        check=True,
        capture_output=True,
    )
    (made,) = set(folder.iterdir()) - before
    return made


def source_files() -> set[str]:
    """Files of the rooms that are not ignored, relative to the root."""
    listing = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard", *ROOMS],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    return {name for name in listing.split("\0") if name and (ROOT / name).exists()}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[zipfile.ZipFile]:
    """The wheel that is built from nothing but the source distribution."""
    folder = tmp_path_factory.mktemp("dist")
    archive = build(ROOT, "sdist", folder)
    with tarfile.open(archive) as packed:
        packed.extractall(folder / "unpacked", filter="data")
    (unpacked,) = (folder / "unpacked").iterdir()
    with zipfile.ZipFile(build(unpacked, "wheel", folder)) as opened:
        yield opened


def names(wheel: zipfile.ZipFile) -> set[str]:
    return set(wheel.namelist())


def metadata(wheel: zipfile.ZipFile, name: str) -> str:
    (found,) = (entry for entry in names(wheel) if entry.endswith(f".dist-info/{name}"))
    return wheel.read(found).decode()


def test_wheel_from_the_sdist_holds_exactly_the_sources(wheel: zipfile.ZipFile) -> None:
    held = {name for name in names(wheel) if ".dist-info/" not in name}
    root = {"__init__.py", "py.typed"}
    assert held == {f"carrellata/{name}" for name in source_files() | root}


def test_wheel_has_the_root_module_of_the_tree(wheel: zipfile.ZipFile) -> None:
    written = wheel.read("carrellata/__init__.py")
    assert written == (ROOT / ".src/carrellata/__init__.py").read_bytes()


@pytest.mark.parametrize("room", ROOMS)
def test_wheel_holds_a_typed_package_per_room(
    wheel: zipfile.ZipFile, room: str
) -> None:
    package = {f"carrellata/{room}/__init__.py", f"carrellata/{room}/py.typed"}
    assert package <= names(wheel)


def test_wheel_holds_the_example_jobs(wheel: zipfile.ZipFile) -> None:
    assert "carrellata/jobs/examples/ferry_dash/job.toml" in names(wheel)


def test_wheel_has_the_console_script(wheel: zipfile.ZipFile) -> None:
    lines = metadata(wheel, "entry_points.txt").splitlines()
    assert "carrellata = carrellata.worker.cli:main" in lines


def test_wheel_states_its_licence(wheel: zipfile.ZipFile) -> None:
    assert "License-Expression: Apache-2.0" in metadata(wheel, "METADATA").splitlines()
    text = metadata(wheel, "licenses/deploy/LICENSE")
    assert text == (ROOT / "deploy/LICENSE").read_text(encoding="utf-8")
