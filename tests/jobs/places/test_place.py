"""Addresses of outputs: what they may say, and what is said of those that may not."""

import pickle
from pathlib import Path

import pytest

from carrellata.jobs.errors import InputError
from carrellata.jobs.places.objects import ObjectPath
from carrellata.jobs.places.place import local_path, place_of

OPTIONS = "endpoint_override=127.0.0.1:9000&region=eu-1&scheme=http"


def test_text_without_a_scheme_is_a_path() -> None:
    assert place_of("out/a", "--out") == Path("out/a")
    assert place_of("file:///srv/a%20b", "--out") == Path("/srv/a b")
    assert place_of("a:b/c", "--out") == Path("a:b/c")


def test_address_is_read_back_as_it_is_written() -> None:
    place = place_of(f"s3://night/a//?scheme=http&{OPTIONS[:-12]}", "--out")
    assert isinstance(place, ObjectPath)
    assert str(place) == f"s3://night/a?{OPTIONS}"
    assert place_of(str(place / "x.html"), "--out") == place / "x.html"
    assert pickle.loads(pickle.dumps(place)) == place
    below = place / "b" / "x.tar.gz"
    assert (below.name, below.stem, below.suffix) == ("x.tar.gz", "x.tar", ".gz")
    assert below.parent == place / "b"
    assert below.bucket.uri == "s3://night"


def test_prefix_of_another_name_is_not_above() -> None:
    def at(text: str) -> ObjectPath:
        place = place_of(text, "test")
        assert isinstance(place, ObjectPath)
        return place

    assert at("s3://bkt/a/x").is_below(at("s3://bkt/a"))
    assert at("s3://bkt/a").is_below(at("s3://bkt/a"))
    assert not at("s3://bkt/a2").is_below(at("s3://bkt/a"))
    assert not at("gs://bkt/a/x").is_below(at("s3://bkt/a"))
    assert not at("s3://bkt/a/x?region=eu-1").is_below(at("s3://bkt/a"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("ftp://b/x", "must be a folder or start with s3://, gs://, file://, got ftp:"),
        ("s3:/b/x", "must have two strokes after s3:"),
        ("s3://key:hunter2@b/x", "must not hold a user or password"),
        ("s3://hunter2@b/x", "must not hold a user or password"),
        ("s3:///x", "must name a bucket after s3://"),
        ("s3://b:9000/x", "must name a bucket after s3://"),
        ("s3://bkt/a/../x", "has a part of its path that is empty, dots, or has"),
        ("s3://bkt/a//x", "has a part of its path that is empty, dots, or has"),
        ("s3://bkt/a%2e/x", "has a part of its path that is empty, dots, or has"),
        ("s3://bkt/a:b/x", "has a part of its path that is empty, dots, or has"),
        ("s3://bkt/x#hunter2", "must not hold a #"),
        ("s3://bkt/x?secret_key=hunter2", "options region, scheme, endpoint_override"),
        ("s3://bkt/x?scheme=http&scheme=http", "once, and no other"),
        ("s3://bkt/x?hunter2", "must have options of the form"),
        ("s3://bkt/x?scheme=hunter2", "must have http or https as its scheme"),
        ("s3://bkt/x?endpoint_override=u:hunter2@h", "must have HOST or HOST:PORT as"),
        ("gs://bkt/x?region=eu", "options scheme, endpoint_override once"),
        ("file://host/x", "must be file:///FOLDER, of this machine"),
        ("s3://[/x", "is no address"),
    ],
)
def test_address_that_will_not_do_is_refused_by_the_field(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        place_of(text, "--out")
    assert str(caught.value).startswith("--out: ")
    assert says in str(caught.value)
    assert "hunter2" not in str(caught.value)


def test_path_that_must_be_of_this_machine_is() -> None:
    assert local_path("a/b", "--page") == Path("a/b")
    for text in ("s3://b/x", Path("s3://b/x")):
        with pytest.raises(InputError, match="--page: must lie on this machine, got"):
            local_path(text, "--page")
