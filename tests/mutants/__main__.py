"""`python -m mutants [sample|all|plain|compiled|list] [WORDS ...]`, tests on the path.

`sample` runs every sixteenth of the mutants that compile nothing; `all` runs all,
`plain` those that compile nothing, `compiled` the others, and `list` none. With words,
only mutants whose name has one of them. What the tests said is in `mutants.log` of the
temporary folder.
"""

import sys
import tempfile
from pathlib import Path

from .mutant import Mutant
from .run import run
from .table import MUTANTS

SAMPLE_EVERY = 16


def chosen(which: str, words: list[str]) -> list[Mutant]:
    """Return the mutants to run."""
    found = list(MUTANTS)
    if which == "sample":
        found = [one for one in found if not one.compiled][::SAMPLE_EVERY]
    if which == "plain":
        found = [one for one in found if not one.compiled]
    if which == "compiled":
        found = [one for one in found if one.compiled]
    if words:
        found = [one for one in found if any(word in one.name for word in words)]
    return found


def main(which: str = "sample", *words: str) -> int:
    """Run mutants and print what became of each; 0 where all is as the table says."""
    mutants = chosen(which, list(words))
    if which == "list":
        for one in mutants:
            one.source()
            print(one.name)
        print(f"{len(mutants)} mutants, each found in its file")
        return 0
    said = Path(tempfile.gettempdir()) / "mutants.log"
    said.unlink(missing_ok=True)
    wrong = []
    count = 0
    for outcome in run(mutants, said):
        count += 1
        mark = "" if outcome.good else "  <-- not as the table says"
        print(
            f"{outcome.state:7}{outcome.seconds:6.1f} s  {outcome.mutant.name}{mark}",
            flush=True,
        )
        if not outcome.good:
            wrong.append(outcome)
    equivalent = [one for one in mutants if one.equivalent]
    print(
        f"{count} mutants, {count - len(wrong) - len(equivalent)} killed, "
        f"{len(equivalent)} equivalent, {len(wrong)} wrong"
    )
    for one in equivalent:
        print(f"equivalent: {one.name}: {one.equivalent}")
    for outcome in wrong:
        print(f"{outcome.state}: {outcome.mutant.name}")
    return 1 if wrong or not count else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
