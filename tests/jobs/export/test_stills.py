"""Stills of the plots: right kind of file, same bytes, words for what they show."""

from io import BytesIO
from xml.etree import ElementTree

import numpy as np
import pytest
from export_takes import RIGS, delivered
from PIL import Image
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.export.stills import stills
from carrellata.jobs.run.local import solve_job
from carrellata.worker.cli import main

NAMES = ["moves", "frame", "plan", "focus"]


def test_a_plan_has_the_stage_and_sticks_have_no_dolly() -> None:
    floor = [[-900, -900], [900, -900], [900, 900], [-900, 900]]
    kiosk = {"name": "kiosk", "from": [300, 600, 0], "to": [400, 700, 250]}
    stage = {"floor": floor, "keep_outs": [kiosk]}
    take = delivered(rig="sticks", stage=stage)
    made = dict(stills(take.curves, take.table, width=640, suffix=".svg"))
    moves, plan = (
        "".join(ElementTree.fromstring(made[name]).itertext())
        for name in ("moves", "plan")
    )
    assert "dolly" not in moves
    assert "rail" not in plan
    assert "kiosk" in plan
    assert "floor" in plan


@pytest.mark.slow
@pytest.mark.parametrize("rig", RIGS)
def test_vector_stills_have_their_words_as_text_and_the_same_bytes(rig) -> None:
    take = delivered(rig=rig)
    made = dict(stills(take.curves, take.table, width=1280, suffix=".svg"))
    again = dict(stills(take.curves, take.table, width=1280, suffix=".svg"))
    assert list(made) == NAMES
    assert made == again
    words = {
        "moves": ("pan (deg/s)", "tilt (deg/s)", "frame", "decision"),
        "frame": ("across (half frame widths)", "runner", "action-safe area"),
        "plan": ("metres, seen from above", "runner", "997", "1028"),
        "focus": ("metres at f/2.8, 40 mm", "focus", "acceptably sharp"),
    }
    for name, data in made.items():
        texts = "".join(ElementTree.fromstring(data).itertext())
        assert f"chase 010: {name}" in texts
        for word in words[name]:
            assert word in texts
        for word, plot in (("dolly (m/s)", "moves"), ("rail", "plan")):
            if name == plot:
                assert (word in texts) == (rig != "sticks")


def test_pictures_are_as_wide_as_asked_and_the_same_bytes() -> None:
    take = delivered()
    made = dict(stills(take.curves, take.table, width=640, suffix=".png"))
    assert made == dict(stills(take.curves, take.table, width=640, suffix=".png"))
    for data in made.values():
        image = Image.open(BytesIO(data))
        assert image.width == 640
        assert np.asarray(image.convert("L")).std() > 5


def test_a_plot_follows_the_take() -> None:
    one, other = (delivered(shake="locked", lens_mm=mm) for mm in (25, 40))
    plots = [
        dict(stills(take.curves, take.table, width=640, suffix=".svg"))
        for take in (one, other)
    ]
    for name in NAMES:
        assert plots[0][name] != plots[1][name]


@pytest.mark.slow
def test_the_command_writes_stills(tmp_path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    solve_job(job, tmp_path / "out", workers=1)
    words = ["export", str(tmp_path / "out"), "--to", "stills", "--svg"]
    assert main([*words, "-o", str(tmp_path / "there")]) == 0
    assert set(files_below(tmp_path / "there")) == {
        f"chase_010_cam_{name}.svg" for name in NAMES
    }
