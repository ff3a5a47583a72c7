"""The units of systemd, by the system's own verifier."""

import shutil
import subprocess
from pathlib import Path

import pytest
from command_line import COMMAND

UNITS = sorted(
    (Path(__file__).resolve().parents[1] / "deploy/systemd").glob("*.service")
)
INSTALLED = "/opt/carrellata/bin/carrellata"


def verified(folder: Path, unit: Path, text: str) -> str:
    """Return what the verifier says of a unit whose command exists here."""
    command = folder / "carrellata"
    command.write_text(f'#!/bin/sh\nexec {" ".join(COMMAND)} "$@"\n')
    command.chmod(0o755)
    copy = folder / unit.name
    copy.write_text(text.replace(INSTALLED, str(command)))
    done = subprocess.run(
        ["systemd-analyze", "verify", copy], capture_output=True, text=True, check=False
    )
    return done.stdout + done.stderr


@pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd is not installed here"
)
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_units_are_sound_and_their_options_are_the_commands(
    unit: Path, tmp_path: Path
) -> None:
    text = unit.read_text(encoding="utf-8")
    assert verified(tmp_path, unit, text) == ""
    # The verifier can find fault.
    spoilt = text.replace("Restart=always", "Restart=often")
    assert "restart specifier" in verified(tmp_path, unit, spoilt)
    (start,) = [line for line in text.splitlines() if line.startswith("ExecStart=")]
    words = start.removeprefix(f"ExecStart={INSTALLED} ").split()
    said = subprocess.run(
        [*COMMAND, words[0], "--help"], capture_output=True, text=True, check=True
    ).stdout
    for option in (word for word in words if word.startswith("--")):
        assert option in said, option
