"""Tokens: kept as digests, read again when they change, refused when malformed."""

import hashlib
from pathlib import Path

import pytest
from command_line import run
from service_process import running

from carrellata.jobs.errors import InputError, JobError
from carrellata.worker.service.auth import (
    digest_of_token,
    new_token,
    one_token,
    read_tokens,
    token_entry,
    tokens_of_file,
)
from carrellata.worker.service.limits import Bucket, Limits


def write(folder: Path, text: str) -> Path:
    path = folder / "tokens.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_digest_is_sha_256_of_the_token() -> None:
    assert digest_of_token("abc") == hashlib.sha256(b"abc").hexdigest()


def test_tokens_are_long_and_never_the_same() -> None:
    made = {new_token() for _ in range(100)}
    assert len(made) == 100
    assert min(map(len, made)) >= 43  # 256 bits


def test_the_file_holds_no_token(tmp_path: Path) -> None:
    token = new_token()
    file = write(tmp_path, token_entry("north", token))
    assert token not in file.read_text()
    caller = tokens_of_file(file, root=None).caller(token)
    assert caller is not None
    assert caller.project == "north"
    assert tokens_of_file(file, root=None).caller(token[:-1]) is None


def test_an_entry_says_folder_rights_and_limits(tmp_path: Path) -> None:
    more = 'root = "/shows"\nbatches = false\nlimits = { frames = 7, burst = 9 }\n'
    (caller,) = read_tokens(
        write(tmp_path, token_entry("north", "x") + more), root=Path("/else")
    )
    assert caller.rules.root == Path("/shows")
    assert not caller.may_batch
    assert caller.rules.limits == Limits(frames=7, burst=9)
    assert caller.usage.bucket.burst == 9


@pytest.mark.parametrize(
    ("text", "path", "words"),
    [
        ('[[tokens]]\nproject = "a"', "tokens[0].sha256", "64 hexadecimal digits"),
        (token_entry("a/b", "x"), "tokens[0].project", "letters, digits"),
        (token_entry("a", "x") + "rot = 1", "tokens[0].rot", "is not a field"),
        (token_entry("a", "x") + 'root = "b"', "tokens[0].root", "from / on"),
        (token_entry("a", "x") + "batches = 1", "tokens[0].batches", "true or false"),
        (
            token_entry("a", "x") + "limits = { frames = 0 }",
            "tokens[0].limits.frames",
            "from 1 up",
        ),
        (
            token_entry("a", "x") + "limits = { frame = 1 }",
            "tokens[0].limits.frame",
            "is not a limit",
        ),
    ],
)
def test_a_malformed_entry_is_named(
    tmp_path: Path, text: str, path: str, words: str
) -> None:
    with pytest.raises(JobError) as refused:
        read_tokens(write(tmp_path, text), root=None)
    (fault,) = refused.value.faults
    assert fault.path == path
    assert words in fault.message


@pytest.mark.parametrize("text", ["", "tokens = 1", "[[tokens", "\x00"])
def test_a_file_without_tokens_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        read_tokens(write(tmp_path, text), root=None)


def test_a_token_that_could_be_guessed_is_refused() -> None:
    with pytest.raises(InputError, match="at least 32 characters"):
        one_token("secret", root=None)


def test_a_changed_file_is_read_again_and_a_broken_one_is_not(tmp_path: Path) -> None:
    file = write(tmp_path, token_entry("north", "first"))
    tokens = tokens_of_file(file, root=None)
    first = tokens.caller("first")
    assert first is not None
    first.usage.in_flight = 3
    write(tmp_path, token_entry("north", "first") + token_entry("south", "second"))
    assert tokens.caller("second") is not None
    again = tokens.caller("first")
    assert again is not None
    assert again.usage.in_flight == 3  # what it is doing goes on counting
    write(tmp_path, "broken")
    assert tokens.caller("second") is not None
    write(tmp_path, token_entry("south", "second"))
    assert tokens.caller("first") is None  # revoked


def test_a_bucket_gives_its_burst_and_then_its_rate() -> None:
    bucket = Bucket(per_s=0.001, burst=3)
    assert [bucket.wait_s() for _ in range(3)] == [0.0, 0.0, 0.0]
    assert 990 < bucket.wait_s() <= 1000
    bucket.at_s -= 1000.0  # a thousand seconds later there is one more
    assert bucket.wait_s() == 0.0
    assert bucket.wait_s() > 0.0


def test_the_command_adds_a_token_that_the_service_knows(tmp_path: Path) -> None:
    file = tmp_path / "tokens.toml"
    ended = run("token", "east", "--add", file)
    assert ended.code == 0, ended.err
    token = ended.out.strip()
    assert file.stat().st_mode & 0o077 == 0
    caller = tokens_of_file(file, root=None).caller(token)
    assert caller is not None
    assert caller.project == "east"
    assert run("token", "../east").code == 2


def test_the_secret_and_records_are_the_owners_alone(tmp_path: Path) -> None:
    with running(tmp_path):
        pass
    state = tmp_path / "state"
    assert state.stat().st_mode & 0o077 == 0
    assert (state / "secret").stat().st_mode & 0o077 == 0


def test_wrong_settings_end_the_command_with_the_fault(tmp_path: Path) -> None:
    state = ("--state", tmp_path / "state")
    missing = run("serve", *state, "--tokens", tmp_path / "none.toml")
    assert (missing.code, "cannot be read" in missing.err) == (2, True)
    root = run("serve", *state, "--root", tmp_path / "none")
    assert (root.code, "is not a folder" in root.err) == (2, True)
