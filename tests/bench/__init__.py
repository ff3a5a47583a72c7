"""Times what has to be fast: `python -m bench [quick] [SECTION ...]`, see deploy/bench.

A section is a file with `run(sizes) -> list[Figure]`; `__main__` lists them. What is
compared is run in turns, so that a busy machine slows all of it alike.
"""
