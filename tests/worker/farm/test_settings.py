"""Settings from the environment: what is missing or wrong is named."""

from pathlib import Path

import pytest

from carrellata.jobs.errors import exit_code
from carrellata.worker.farm.broker import celery_address
from carrellata.worker.farm.settings import (
    SettingsError,
    has_broker,
    load_settings,
    shown_broker,
)

GOOD = {"CARRELLATA_BROKER": "redis://h:6379/0", "CARRELLATA_ROOTS": "/srv/a:/srv/b"}


def test_outputs_are_the_roots_and_the_spool_lies_below_the_first() -> None:
    settings = load_settings(GOOD)
    assert settings.roots == settings.outputs == (Path("/srv/a"), Path("/srv/b"))
    assert settings.spool == Path("/srv/a/.carrellata")
    assert settings.visibility_timeout_s >= 2 * settings.time_limit_s


def test_numbers_are_read_as_what_they_are() -> None:
    more = {"CARRELLATA_TIME_LIMIT_S": "2.5", "CARRELLATA_MAX_ATTEMPTS": "5"}
    settings = load_settings(GOOD | more)
    assert (settings.time_limit_s, settings.max_attempts) == (2.5, 5)


def test_outputs_may_be_prefixes_and_the_spool_follows_them() -> None:
    there = "s3://night/takes?endpoint_override=store:9000&scheme=http"
    named = f"{there}:/srv/b:gs://other/x:s3://night/c"
    settings = load_settings(GOOD | {"CARRELLATA_OUTPUTS": named})
    assert [str(place) for place in settings.outputs] == [
        there,
        "/srv/b",
        "gs://other/x",
        "s3://night/c",
    ]
    assert str(settings.spool) == there.replace("takes", "takes/.carrellata")
    settings = load_settings(
        GOOD | {"CARRELLATA_OUTPUTS": there, "CARRELLATA_SPOOL": "/srv/spool"}
    )
    assert settings.spool == Path("/srv/spool")
    assert settings.roots == (Path("/srv/a"), Path("/srv/b"))


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("ROOTS", "/srv/a:s3://night/in", "jobs are not read from object stores"),
        ("OUTPUTS", "s3://k:hunter2@night/x", "must not hold a user or password"),
        ("OUTPUTS", "s3://night/x:relative/a", "has a part of its path"),
        ("SPOOL", "s3://night/a:s3://night/b", "must be one folder"),
        ("BROKER", "", "is not set"),
        ("BROKER", "amqp://h", "must start with one of redis://"),
        ("ROOTS", "", "is not set"),
        ("ROOTS", "relative/folder", "must name folders from / on"),
        ("SPOOL", "/a:/b", "must be one folder"),
        ("TIME_LIMIT_S", "soon", 'must be a number, got "soon"'),
        ("TIME_LIMIT_S", "-1", "must be above 0"),
        ("TIME_LIMIT_S", "nan", "must be above 0"),
        ("MAX_ATTEMPTS", "2.5", 'must be a whole number, got "2.5"'),
        ("VISIBILITY_TIMEOUT_S", "239", "at least twice the time limit, 240 s"),
    ],
)
def test_wrong_setting_is_named(name: str, value: str, says: str) -> None:
    with pytest.raises(SettingsError) as caught:
        load_settings(GOOD | {f"CARRELLATA_{name}": value})
    assert str(caught.value).startswith(f"CARRELLATA_{name}: ")
    assert says in str(caught.value)
    assert exit_code(caught.value) == 2


def test_password_is_not_shown() -> None:
    assert shown_broker("redis://user:secret@h:1/0") == "redis://h:1/0"
    assert "secret" not in shown_broker("unix://:secret@/run/redis.sock?db=1")


def test_socket_address_is_written_as_the_queue_reads_it() -> None:
    address = celery_address("unix:///run/redis.sock?db=3")
    assert address == "redis+socket:///run/redis.sock?virtual_host=3"
    assert celery_address("rediss://h:1/2") == "rediss://h:1/2"


def test_farm_is_there_only_when_it_is_named() -> None:
    assert has_broker(GOOD)
    assert not has_broker({})
    assert not has_broker({"CARRELLATA_BROKER": ""})
