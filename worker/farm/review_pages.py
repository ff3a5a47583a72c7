"""Writes the pages of a sequence's review in several processes.

    python -m carrellata.worker.farm.review_pages FOLDER

The children of a worker may have none of their own, so a join with many pages starts
this beside itself.
"""

import subprocess
import sys
from collections.abc import Collection

from ...jobs.places.place import Place, place_of
from ...jobs.review.write import write_review, write_with
from ...jobs.takes.merge import note_reported

_MANY = 200  # pages; fewer are written before another program has started


def write_pages(folder: Place, shots: Collection[str], *, again: bool) -> None:
    """Write the review of a batch.

    Args:
        folder: where the sequence lies.
        shots: names of the shots that were solved.
        again: whether an earlier try may have got part of the way.

    Raises:
        InputError: the sequence's rows cannot be read.
        OSError: a file could not be written.
    """
    note_reported(folder, shots, again=again)
    if len(shots) >= _MANY:
        words = [
            sys.executable,
            "-m",
            "carrellata.worker.farm.review_pages",
            str(folder),
        ]
        subprocess.run(words, stdin=subprocess.DEVNULL, check=False)
    # What the other has written is left as it is; what it has not is written here.
    write_review(folder)


if __name__ == "__main__":
    write_review(place_of(sys.argv[1], "FOLDER"), write=write_with(None))
