"""Bundles: every shot once, in order, and no message too long or too short."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from carrellata.worker.farm.bundles import bundles
from carrellata.worker.farm.settings import FarmSettings

SETTINGS = FarmSettings(broker="", roots=(), outputs=(), spool=Path("/"))


@given(
    st.lists(st.floats(0.1, 500), min_size=1, max_size=400),
    st.integers(1, 40),
    st.floats(1, 200),
)
def test_bundles_hold_every_shot_once(
    costs: list[float], most: int, worth: float
) -> None:
    settings = FarmSettings(
        broker="",
        roots=(),
        outputs=(),
        spool=Path("/"),
        bundle_ms=worth,
        bundle_shots=most,
    )
    found = list(bundles(range(len(costs)), costs.__getitem__, settings))
    assert [shot for bundle in found for shot in bundle] == list(range(len(costs)))
    for bundle in found:
        assert 1 <= len(bundle) <= most
        assert len(bundle) == 1 or sum(costs[k] for k in bundle) <= worth


def test_long_shots_go_alone_and_small_batches_are_spread() -> None:
    long = list(bundles(range(100), lambda _: 60.0, SETTINGS))
    assert len(long) == 100
    few = list(bundles(range(12), lambda _: 1.0, SETTINGS))
    assert len(few) == 12
    many = list(bundles(range(1600), lambda _: 1.0, SETTINGS))
    assert len(many) == 100
