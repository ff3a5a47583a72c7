"""How often Python looks for garbage that refers to itself.

Starting and compiling make many objects that stay; looking through them again and
again takes an eighth of that time. What a shot needs is freed without a search. As a
process ends, Python looks through all of them several times more, a quarter of the time
of a short solve, for memory that goes back to the system anyway.
"""

import atexit
import gc

SELDOM = (200_000, 20, 100)
"""Thresholds of `gc`: no search in a short solve, and seldom one in a long one."""


def collect_seldom() -> None:
    """Let this process search for garbage seldom, and not as it ends.

    What others have asked to be called at the end is called as ever, and what is said
    is said. A file that is written to has to be closed by whoever opened it.
    """
    gc.set_threshold(*SELDOM)
    atexit.unregister(gc.freeze)  # several calls are as good as one
    atexit.register(gc.freeze)
