"""Statements of a TOML text are found where a reader finds them."""

import tomllib
from typing import Any

import pytest

from carrellata.jobs.decide.toml_text import (
    changed,
    items_inside,
    pairs_inside,
    tables_in,
    written,
)

TEXT = '''# [not.a.table] = 1
a = 1 # one
"b c".d = """
[[shots]]
x = 1"""
[ first . second ]   # a header
when = 1979-05-27 07:32:00
list = [ # [brackets] in a remark
  "]", ']', { x = "}" },
]
[[shots]]
name = "010"
table = { size = "full", "place" = [0, 1] , deep = { fill = 2 } }
text = \'\'\'it's
[x]\'\'\'
[shots.framing]
[[shots]]
last = -1.5e3'''


def rebuilt(text: str) -> list[tuple[tuple[str, ...], list[tuple[str, ...], Any]]]:
    return [
        (
            table.path,
            [
                (pair.path, tomllib.loads("v = " + text[pair.value_start : pair.end]))
                for pair in table.pairs
            ],
        )
        for table in tables_in(text)
    ]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_pair_stands_where_it_is_told(newline: str) -> None:
    text = TEXT.replace("\n", newline)
    read = tomllib.loads(text)
    top, first, one, framing, two = rebuilt(text)
    assert [path for path, _ in (top, first, one, framing, two)] == [
        (),
        ("first", "second"),
        ("shots",),
        ("shots", "framing"),
        ("shots",),
    ]
    assert dict(top[1]) == {("a",): {"v": 1}, ("b c", "d"): {"v": read["b c"]["d"]}}
    own = {path[0]: value["v"] for path, value in first[1]}
    assert own == read["first"]["second"]
    own = {path[0]: value["v"] for path, value in one[1]}
    assert {**own, "framing": {}} == read["shots"][0]
    assert framing[1] == []
    assert two[1] == [(("last",), {"v": -1500.0})]


def test_insides_are_found() -> None:
    _, first, one, *_ = tables_in(TEXT)
    inside = pairs_inside(TEXT, one.pairs[1])
    assert [pair.path for pair in inside] == [("size",), ("place",), ("deep",)]
    assert TEXT[inside[1].value_start : inside[1].end] == "[0, 1]"
    ends = list(items_inside(TEXT, first.pairs[1]))
    assert [TEXT[end - 1] for end in ends] == ['"', "'", "}"]
    assert pairs_inside(TEXT, one.pairs[0]) == []


@pytest.mark.parametrize("value", ['"\\ \n\t\x7f\u00e9', 50.0, 18, 0.1 + 0.2, True])
def test_values_are_written_as_a_reader_reads_them(value: Any) -> None:
    assert tomllib.loads(f"v = {written(value)}")["v"] == value


def test_changes_of_one_place_come_in_their_order() -> None:
    assert changed("abc", [(3, 3, "x"), (1, 2, ""), (3, 3, "y")]) == "acxy"
