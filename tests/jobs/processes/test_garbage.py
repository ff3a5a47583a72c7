"""How often Python looks for garbage, and what it still does at the end."""

import subprocess
import sys

PROGRAM = """
import atexit
from carrellata.jobs.processes.garbage import collect_seldom
collect_seldom()
collect_seldom()
class Said:
    def __init__(self, word):
        self.word = word
    def __del__(self):
        print(self.word)
atexit.register(print, "at exit")
Said("nothing refers to it")
in_a_ring = Said("refers to itself")
in_a_ring.own = in_a_ring
"""


def test_at_the_end_what_was_asked_for_is_called_and_nothing_searched_for() -> None:
    ended = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True
    )
    assert ended.stdout.splitlines() == ["nothing refers to it", "at exit"]
