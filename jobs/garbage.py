"""How often Python looks for garbage that refers to itself.

Starting and compiling make many objects that stay; looking through them again and
again takes an eighth of that time. What a shot needs is freed without a search.
"""

import gc

SELDOM = (50_000, 20, 100)
"""Thresholds of `gc`: some seventy times as many objects as it waits for by itself."""


def collect_seldom() -> None:
    """Let this process search for garbage some seventy times less often."""
    gc.set_threshold(*SELDOM)
