"""Compiles what any shot needs: `python -m carrellata.jobs.run.warm_all`.

For who builds a wheel or an image, and before tests. It needs only the compiler.
"""

from .warm import warm_up
from .warm_live import step


def warm_all() -> None:
    """Compile the kernels of given and open setups, then those of a live crew."""
    warm_up(choosing=True)
    step()


if __name__ == "__main__":
    warm_all()
