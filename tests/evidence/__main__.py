"""Write page and tables, print the comparison: `python -m evidence FOLDER`."""

import csv
import json
import sys
from pathlib import Path

from .compared import both
from .gather import Record, gather, records
from .page import page


def rounded(value: object) -> object:
    """Return a number with six digits, and no number that JSON cannot carry."""
    if isinstance(value, float):
        return float(f"{value:.6g}") if abs(value) < float("inf") else None
    return value


def main(folder: Path) -> None:
    """Compute and write everything, and print people, crew and plain ways."""
    evidence = gather()
    tables: dict[str, list[Record]] = records(evidence)
    folder.mkdir(parents=True, exist_ok=True)
    clean = {
        name: [{k: rounded(v) for k, v in row.items()} for row in rows]
        for name, rows in tables.items()
    }
    (folder / "evidence.json").write_text(
        json.dumps(clean, indent=1, allow_nan=False) + "\n", "utf-8"
    )
    with (folder / "evidence.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["table", "row", "measure", "value"])
        for name, rows in clean.items():
            for number, row in enumerate(rows):
                writer.writerows([name, number, key, row[key]] for key in row)
    (folder / "index.html").write_text(page(evidence, tables), "utf-8")
    print(both(evidence.people, evidence.rows, evidence.clips))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
