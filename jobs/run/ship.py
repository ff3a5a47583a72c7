"""Puts machine code into a wheel: `python -m carrellata.jobs.run.ship WHEEL`.

The kernels are compiled first where they are not. Run it in an environment whose
sources are those of the wheel. With other releases of Python, and on other kinds of
processor than the one that this runs on, kernels are compiled as they are needed.
"""

import base64
import hashlib
import sys
import zipfile
from pathlib import Path, PurePosixPath

from ...solver.compiled.kernel import SHIPPED, cache_folder
from .warm_all import warm_all

_BELOW = PurePosixPath("carrellata/solver/compiled")
_PACKAGE = Path(__file__).resolve().parents[2]
_TIME = (2020, 2, 2, 0, 0, 0)  # of all that is added: the same files, the same wheel


def ship(wheel: Path) -> int:
    """Add the machine code of these sources to a wheel; return the number of files.

    Args:
        wheel: changed in place, its list of files too. What was added before goes.
    """
    below = _BELOW / SHIPPED.name
    with zipfile.ZipFile(wheel) as opened:
        entries = [one for one in opened.infolist() if below.name not in one.filename]
        held = [(entry, opened.read(entry)) for entry in entries]
    (listed,) = (one for one in held if one[0].filename.endswith(".dist-info/RECORD"))
    held.remove(listed)
    lines = [one for one in listed[1].decode().splitlines() if below.name not in one]
    files = machine_code()
    for name, file in files.items():
        entry = zipfile.ZipInfo(str(below / name), _TIME)
        entry.compress_type = zipfile.ZIP_DEFLATED
        data = file.read_bytes()
        held.append((entry, data))
        digest = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).decode()
        lines.append(f"{entry.filename},sha256={digest.rstrip('=')},{len(data)}")
    held.append((listed[0], "\n".join([*lines, ""]).encode()))
    part = wheel.with_suffix(".part")
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as made:
        for entry, data in held:
            made.writestr(entry, data)
    part.replace(wheel)
    return len(files)


def machine_code() -> dict[str, Path]:
    """Return the files that Python calls the kernels from, by name in the package.

    Those that go into other kernels are not among them: where all kernels are there,
    nothing is made from them.
    """
    found = {}
    for source in sorted((_PACKAGE / "solver").rglob("*.py")):
        if "@kernel" in source.read_text(encoding="utf-8"):
            folder = Path(cache_folder(source))
            for file in sorted(folder.glob("*.nb?")):
                found[f"{folder.name}/{file.name}"] = file
    return found


if __name__ == "__main__":
    warm_all()
    print(f"{ship(Path(sys.argv[1]))} files of machine code in {sys.argv[1]}")
