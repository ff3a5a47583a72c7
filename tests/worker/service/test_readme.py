"""The guide's lines for a layout tool work as printed."""

import os
import re
import subprocess
import sys
from pathlib import Path

from service_process import Service, walk_samples

GUIDE = Path(__file__).resolve().parents[3] / "worker" / "README.md"


def printed_lines() -> str:
    """The Python of the section "From a layout tool"."""
    text = GUIDE.read_text(encoding="utf-8")
    section = text.partition("## From a layout tool")[2].partition("\n## ")[0]
    found = re.search(r"```python\n(.*?)```", section, re.DOTALL)
    assert found is not None, "the section has no Python"
    return found[1]


def test_the_lines_work_as_printed(service: Service, tmp_path: Path) -> None:
    lines = printed_lines()
    assert len([line for line in lines.splitlines() if line.strip()]) == 10
    # The lines ask for a service at its usual port and samples from the scene.
    assert lines.count("http://127.0.0.1:8791") == 1
    script = lines.replace("http://127.0.0.1:8791", service.address)
    scene = f"def scene_samples():\n    return {walk_samples(48)!r}\n"
    (tmp_path / "my_scene.py").write_text(scene)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script],
        cwd=tmp_path,
        env=os.environ | {"CARRELLATA_TOKEN": service.tokens["north"]},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    frames = [line.split() for line in done.stdout.splitlines()]
    assert [int(words[0]) for words in frames] == list(range(1001, 1049))
    assert {len(words) for words in frames} == {4}
    assert len({words[1] for words in frames}) > 24  # the camera moves
