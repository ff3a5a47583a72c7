"""Exit codes and the text of errors."""

import pytest

from carrellata.jobs.errors import (
    CancelledError,
    CarrellataError,
    Fault,
    InputError,
    JobError,
    ServiceError,
    ShotDataError,
    exit_code,
)

FAULT = Fault(path="shots[3].lens_mm", message="45 mm is not in the kit (18, 25)")


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (ShotDataError("010", (FAULT,)), 1),
        (JobError((FAULT,)), 2),
        (InputError("job.toml", "no such file"), 2),
        (ServiceError("queue"), 3),
        (CancelledError(), 4),
    ],
)
def test_each_error_has_its_exit_code(error: CarrellataError, code: int) -> None:
    assert exit_code(error) == code


def test_a_class_below_a_listed_one_has_its_code() -> None:
    class MovedError(InputError):
        pass

    assert exit_code(MovedError("job.toml", "has moved")) == 2


def test_an_error_without_a_code_is_a_fault_of_ours() -> None:
    with pytest.raises(KeyError):
        exit_code(CarrellataError())


def test_errors_give_one_line_a_fault() -> None:
    line = "shots[3].lens_mm: 45 mm is not in the kit (18, 25)"
    assert str(JobError((FAULT, Fault(path="", message="is empty")))) == (
        f"{line}\nis empty"
    )
    assert str(ShotDataError("010", (FAULT,))) == f"shot 010: {line}"
    assert str(InputError("job.toml", "no such file")) == "job.toml: no such file"
