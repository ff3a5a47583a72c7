"""The record of a run: machine, figures, and what got worse since the last commit."""

import json
import os
import platform
import subprocess
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from .figures import Figure

PATH = Path(__file__).with_name("record.json")
WORSE = 1.2  # a ratio that is worse by more than this is marked
_PACKAGES = ("numpy", "numba", "pyarrow", "daqp", "piqp", "osqp", "clarabel")


def _version_of(package: str) -> str:
    """Return the version of a package; "none" where a peer is not installed."""
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"


def machine() -> dict[str, Any]:
    """Return what the times depend on."""
    model = "unknown"
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            model = line.partition(":")[2].strip()
            break
    return {
        "processor": model,
        "cores": len(os.sched_getaffinity(0)),
        "load_before": round(os.getloadavg()[0], 2),
        "python": platform.python_version(),
        **{name: _version_of(name) for name in _PACKAGES},
    }


def last_committed(size: str) -> dict[str, float]:
    """Return the values of the record last committed, by name; none if it can't be."""
    name = f"HEAD:./{PATH.name}"
    shown = subprocess.run(
        ["git", "show", name],
        cwd=PATH.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    if shown.returncode:
        return {}
    runs = json.loads(shown.stdout)
    figures = runs.get(size, {}).get("figures", {})
    return {name: one["value"] for name, one in figures.items()}


def change(figure: Figure, last: float | None) -> float | None:
    """Return by what factor a ratio is worse than it was; below 1 it is better."""
    if not figure.is_ratio or not figure.better or not last or not figure.value:
        return None
    worse = figure.value / last
    return worse if figure.better == "lower" else 1 / worse


def rows(figures: Sequence[Figure], last: dict[str, float]) -> dict[str, Any]:
    """Return the figures as they are written, by name."""
    found = {}
    for figure in figures:
        row: dict[str, Any] = {"value": float(f"{figure.value:.6g}")}
        row["unit"] = figure.unit
        if figure.target is not None:
            row |= {"target": figure.target, "reached": figure.reached}
        if figure.note:
            row["note"] = figure.note
        worse = change(figure, last.get(figure.name))
        if worse is not None:
            row["last"] = last[figure.name]
            row["regression"] = worse > WORSE
        found[figure.name] = row
    return found


def table(rows: dict[str, Any]) -> str:
    """Return rows for people, one a line."""
    lines = []
    for name, row in rows.items():
        line = f"{name:38s}{row['value']:>12.5g} {row['unit']:5s}"
        if "target" in row:
            line += f" target {row['target']:<8g}"
            line += "reached" if row["reached"] else "MISSED"
        else:
            line += " " * 16
        if row.get("regression"):
            line += f"  WORSE than {row['last']:g}"
        if "note" in row:
            line += f"  {row['note']}"
        lines.append(line.rstrip())
    return "\n".join(lines)


def save(size: str, about: dict[str, Any], found: dict[str, Any]) -> None:
    """Write a run of all sections in place of the last one of its size."""
    runs = json.loads(PATH.read_text()) if PATH.exists() else {}
    runs = {name: run for name, run in runs.items() if name in ("full", "quick")}
    runs[size] = {"machine": about, "figures": found}
    PATH.write_text(json.dumps(runs, indent=1) + "\n")
