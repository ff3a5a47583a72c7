"""The forms of a take: which one is meant, and what they hold."""

import pytest

from carrellata.worker.service.results import ARROW, JSON, PARQUET, chosen_form


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        (None, JSON),
        ("", JSON),
        ("*/*", JSON),
        ("application/*", JSON),
        ("application/json", JSON),
        ("Application/JSON; charset=utf-8", JSON),
        (PARQUET, PARQUET),
        (ARROW, ARROW),
        (f"{ARROW};q=0.5, {PARQUET}", PARQUET),
        (f"{PARQUET};q=0.2, */*;q=0.1", PARQUET),
        (f"{JSON};q=0, */*", PARQUET),
        (f"{JSON};q=0.1, {ARROW};q=0.2", ARROW),
        ("text/html", None),
        ("application/json;q=0", None),
        ("application/json;q=nan", None),
        ("application/json;q=many", None),
        ("application/json;q=7", None),
        (",,;;=", None),
    ],
)
def test_the_accept_header_chooses_the_form(
    accept: str | None, form: str | None
) -> None:
    # RFC 9110, 12.5.1: the most specific range decides, then the quality.
    assert chosen_form(accept) == form
