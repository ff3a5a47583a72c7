"""Paths that lead out of the farm's folders are refused, however they do it."""

from pathlib import Path

import pytest

from carrellata.worker.places import PlaceError, place_below


def test_place_below_a_root_is_its_real_one(tmp_path: Path) -> None:
    root = tmp_path.resolve() / "root"
    (root / "real").mkdir(parents=True)
    (root / "link").symlink_to(root / "real")
    assert place_below([root], root / "link/x.csv") == root / "real/x.csv"
    assert place_below([root], root / "a/../b.csv") == root / "b.csv"
    assert place_below([tmp_path / "other", root], root) == root


@pytest.mark.parametrize(
    "name", ["../x", "a/../../x", "out/x", "a/out/x", "/etc/passwd", "loop/x", "\0"]
)
def test_way_out_is_refused(tmp_path: Path, name: str) -> None:
    root = tmp_path.resolve() / "root"
    (root / "a").mkdir(parents=True)
    (root / "out").symlink_to(tmp_path)
    (root / "a/out").symlink_to("../..")
    (root / "loop").symlink_to(root / "loop")
    with pytest.raises(PlaceError):
        place_below([root], root / name)


def test_root_with_a_like_name_is_another(tmp_path: Path) -> None:
    root = tmp_path.resolve() / "root"
    with pytest.raises(PlaceError, match="lies outside the folders"):
        place_below([root], tmp_path.resolve() / "root2/x")
    with pytest.raises(PlaceError, match="must be a path from / on"):
        place_below([root], Path("root/x"))
