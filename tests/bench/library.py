"""One shot from Python: 120 frames on a given rig, also live, and an import."""

import statistics
import subprocess
import sys

from library_jobs import columns, one_shot, way

import carrellata

from .clock import medians, paired
from .figures import Figure, Sizes

N_FRAMES = 120
IMPORT = (
    "import time; start = time.perf_counter(); import carrellata; "
    "print(time.perf_counter() - start)"
)


def run(sizes: Sizes) -> list[Figure]:
    """Return the times of a call, of a live frame and of an import."""
    job = one_shot(columns(N_FRAMES), n_frames=N_FRAMES)
    points = way(N_FRAMES).tolist()
    crew = carrellata.LiveCrew(job)
    start = crew.start()

    def live() -> None:
        state = start
        for point in points:
            state = crew.step(state, (point,))

    calls = {"call": lambda: carrellata.solve_shot(job), "live": live}
    times = paired(calls, sizes.takes)
    imports = [_import_s() for _ in range(sizes.starts)]
    return [
        Figure(
            name="library_solve_shot",
            value=1e3 * medians(times)["call"],
            unit="ms",
            target=4.0,
            note=f"median of {sizes.takes}, best {1e3 * min(times['call']):.1f} ms",
        ),
        Figure(
            name="library_live_frame",
            value=1e6 * medians(times)["live"] / N_FRAMES,
            unit="us",
            target=10.0,
            note=f"best {1e6 * min(times['live']) / N_FRAMES:.1f} us",
        ),
        Figure(
            name="library_import",
            value=statistics.median(imports),
            unit="s",
            target=0.15,
            note=f"median of {sizes.starts}",
        ),
    ]


def _import_s() -> float:
    done = subprocess.run(
        [sys.executable, "-c", IMPORT], check=True, capture_output=True, text=True
    )
    return float(done.stdout)
