"""Takes in memory: within their bytes, and never across projects."""

from carrellata.worker.service.kept_takes import KeptTake, KeptTakes
from carrellata.worker.service.problems import refusal
from carrellata.worker.service.results import JSON
from carrellata.worker.service.solving import SolvedTake


def solved(name: str, n_bytes: int = 100, *, from_files: bool = False) -> SolvedTake:
    half = b"x" * (n_bytes // 2)
    return SolvedTake(
        take_key=name, stream=half, form=JSON, body=half, from_files=from_files
    )


def kept_takes(max_bytes: int = 1000) -> KeptTakes:
    return KeptTakes(secret=b"secret", max_bytes=max_bytes)


def test_names_are_the_projects_own_and_need_the_secret() -> None:
    takes = kept_takes()
    one = takes.put("north", takes.ticket("north", b"body"), solved("k"))
    two = takes.put("south", takes.ticket("south", b"body"), solved("k"))
    other = KeptTakes(secret=b"other", max_bytes=1000)
    three = other.put("north", other.ticket("north", b"body"), solved("k"))
    assert len({one.key, two.key, three.key}) == 3
    assert takes.get("south", one.key) is None
    assert takes.get("north", one.key) is one


def test_bytes_stay_within_the_limit_and_the_oldest_go_first() -> None:
    takes = kept_takes(1000)
    keys = []
    for k in range(25):
        ticket = takes.ticket("north", b"%d" % k)
        keys.append(takes.put("north", ticket, solved(str(k))).key)
        assert takes.n_bytes <= 1000
    assert takes.get("north", keys[0]) is None
    assert isinstance(takes.get("north", keys[-1]), KeptTake)
    assert len(takes) == 10


def test_what_is_asked_for_stays() -> None:
    takes = kept_takes(1000)
    first = takes.put("north", takes.ticket("north", b"first"), solved("first"))
    for k in range(25):
        takes.put("north", takes.ticket("north", b"%d" % k), solved(str(k)))
        assert takes.get("north", first.key) is first


def test_a_request_that_names_files_is_not_answered_from_memory() -> None:
    takes = kept_takes()
    ticket = takes.ticket("north", b"body")
    takes.put("north", ticket, solved("k", from_files=True))
    assert takes.get_same("north", ticket) is None
    assert takes.get("north", ticket) is not None
    takes.put("north", ticket, solved("k"))
    assert takes.get_same("north", ticket) is not None


def test_a_refusal_gives_way_to_a_take_and_back() -> None:
    takes = kept_takes()
    ticket = takes.ticket("north", b"body")
    no = refusal(422, "no", "no")
    takes.refuse("north", ticket, no)
    assert takes.get("north", ticket) is no
    assert takes.get_same("north", ticket) is None
    takes.put("north", ticket, solved("k"))
    assert isinstance(takes.get("north", ticket), KeptTake)
    takes.refuse("north", ticket, no)
    assert takes.get("north", ticket) is no
