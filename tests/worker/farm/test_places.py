"""Paths that lead out of the farm's folders are refused, however they do it."""

from pathlib import Path

import pytest

from carrellata.jobs.places.place import place_of
from carrellata.worker.farm.places import PlaceError, output_below, place_below


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


ROOTS = [
    Path("/srv/takes"),
    place_of("s3://night/takes?endpoint_override=store:9000&scheme=http", "test"),
    place_of("gs://night", "test"),
]


@pytest.mark.parametrize(
    ("out", "meant"),
    [
        ("/srv/takes/a", "/srv/takes/a"),
        (
            "s3://night/takes/a",
            "s3://night/takes/a?endpoint_override=store:9000&scheme=http",
        ),
        (
            "s3://night/takes?scheme=http&endpoint_override=store:9000",
            "s3://night/takes?endpoint_override=store:9000&scheme=http",
        ),
        ("gs://night/x", "gs://night/x"),
    ],
)
def test_output_below_a_root_goes_by_the_way_of_the_root(out: str, meant: str) -> None:
    assert str(output_below(ROOTS, place_of(out, "out"))) == meant


@pytest.mark.parametrize(
    "out",
    [
        "/srv/other",
        "s3://night",
        "s3://night/takes2",
        "s3://day/takes",
        "s3://night/takes?endpoint_override=elsewhere:9000&scheme=http",
        "s3://night/takes/a?scheme=http",
        "gs://night/x?scheme=http",
        "gs://nights/x",
    ],
)
def test_output_outside_the_roots_is_refused(out: str) -> None:
    with pytest.raises(PlaceError, match="lies outside the"):
        output_below(ROOTS, place_of(out, "out"))


def test_prefix_among_the_roots_lets_no_folder_in() -> None:
    with pytest.raises(PlaceError):
        place_below([place_of("s3://night/takes", "test")], Path("/night/takes"))
