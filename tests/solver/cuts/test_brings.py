"""What a cut brings that is new to a viewer."""

from ends import an_end, around, held

from carrellata.solver.cuts.appearance import Appearance
from carrellata.solver.cuts.continuity import CutShot, cut_findings, cut_news
from carrellata.solver.cuts.end import CutEnd, ShotEnds


def test_a_cut_brings_what_is_new() -> None:
    one = an_end(around(-90.0), faces_deg=-60.0)

    def brings(two: CutEnd | ShotEnds, **fields: object) -> list[tuple[str, str]]:
        before = CutShot(name="010", scene="s", elapsed=False, ends=held(one))
        ends = held(two) if isinstance(two, CutEnd) else two
        after = CutShot(name="020", ends=ends,
                        **({"scene": "s", "elapsed": False} | fields))  # fmt: skip
        return [(each.what, each.who) for each in cut_news(before, after)]

    assert brings(an_end(around(-80.0), faces_deg=-60.0)) == []
    assert brings(an_end(around(-80.0), faces_deg=-60.0, size="medium")) == [
        ("size", "a")
    ]
    assert brings(an_end(around(-55.0), faces_deg=-60.0)) == [("view", "a")]
    assert brings(an_end(around(-80.0), faces_deg=-120.0)) == [("look", "a")]
    assert brings(an_end(around(-80.0), subject="b")) == [("follows", "b")]
    assert brings(one, elapsed=True) == [("time", "")]
    assert brings(one, scene="quay") == [("place", "quay")]
    assert brings(one, shows=("clock",)) == [("place", "clock")]


def test_a_cut_brings_who_comes_and_who_goes() -> None:
    def shown(*names: str) -> CutShot:
        end = an_end(around(-90.0))
        people = tuple(
            Appearance(name, name in names, name in names, name in names, None, None)
            for name in ("a", "b")
        )
        ends = ShotEnds(first=end, last=end, people=people)
        return CutShot(name="x", scene="s", elapsed=False, ends=ends)

    def brings(*two: CutShot) -> list[tuple[str, str]]:
        return [(each.what, each.who) for each in cut_news(*two)]

    assert brings(shown("a"), shown("a", "b")) == [("comes", "b")]
    assert brings(shown("a", "b"), shown("a")) == [("goes", "b")]
    assert brings(shown("a"), shown("a")) == []
    found = cut_findings([shown("a"), shown("a", "b")])[1]
    assert [one.name for one in found] == ["under_30_degrees"]
