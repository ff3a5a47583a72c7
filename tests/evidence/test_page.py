"""The page and its tables, as the command writes them."""

import json
import re
from html.parser import HTMLParser

import motion
import pytest

from evidence.__main__ import main
from evidence.plots import Axis, Series, chart

VOID = {"meta", "link", "br"}


class Balance(HTMLParser):
    """Follows tags that open and close."""

    def __init__(self):
        super().__init__()
        self.open, self.faults, self.links = [], [], []

    def handle_starttag(self, tag, attrs):
        self.links += [value for name, value in attrs if name in ("src", "href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.links += [value for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag):
        while self.open and self.open[-1] in ("li", "p") and self.open[-1] != tag:
            self.open.pop()
        if not self.open or self.open.pop() != tag:
            self.faults.append(tag)


@pytest.mark.slow
def test_the_page_is_whole_self_contained_and_names_no_player(tmp_path, capsys):
    main(tmp_path)
    said = capsys.readouterr().out
    for name in ("eight people", "brisk", "delayed integrator", "held out"):
        assert name in said
    text = (tmp_path / "index.html").read_text("utf-8")
    tables = json.loads((tmp_path / "evidence.json").read_text("utf-8"))
    balance = Balance()
    balance.feed(text)
    assert balance.faults == []
    assert balance.links == []
    assert "<script" not in text
    assert "://" not in text
    assert "url(" not in text
    assert text.count("<svg") > 30
    assert not re.search(r">-?(nan|inf)<", text)
    everything = text + json.dumps(tables)
    for (_, player), _ in motion.STRETCHES.values():
        assert not re.search(rf"\b{player}\b", everything)
    assert "awk" not in everything
    for name in ("tracking", "double_step", "clips", "sensitivity", "shake"):
        assert len(tables[name]) > 10
    assert text.count("measured by us") >= 4
    for words in ("eight people", "delayed integrator", "held out", "from memory"):
        assert words in text
    lines = (tmp_path / "evidence.csv").read_text("utf-8").splitlines()
    assert len(lines) == 1 + sum(len(row) for rows in tables.values() for row in rows)


def test_marks_lie_where_their_values_are():
    series = Series(name="a", x=[1.0, 10.0, 100.0], y=[0.0, 5.0, 10.0], style="dots")
    text = chart(
        [series],
        Axis(label="x", low=1, high=100, log=True),
        Axis(label="y", low=0, high=10),
        title="t",
        width=166,
        height=148,
    )
    found = re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', text)
    assert [tuple(map(float, one)) for one in found] == [
        (54, 110),
        (104, 60),
        (154, 10),
    ]


def test_what_is_not_finite_is_not_drawn():
    series = Series(name="a", x=[1.0, 2.0, 3.0], y=[1.0, float("nan"), 2.0])
    text = chart(
        [series],
        Axis(label="x", low=0, high=4),
        Axis(label="y", low=0, high=4),
        title="t",
    )
    assert text.count("<circle") == 2
    assert "nan" not in text
