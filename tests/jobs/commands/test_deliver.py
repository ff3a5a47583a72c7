"""The command that delivers takes, from the command line to files."""

import json
from pathlib import Path

import pytest
from pxr import Sdf, Usd, UsdGeom
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.export import extras
from carrellata.jobs.run.local import solve_job
from carrellata.worker.cli import main


@pytest.fixture(scope="module")
def solved(tmp_path_factory) -> Path:
    """An output folder with the takes of two shots."""
    folder = tmp_path_factory.mktemp("solved")
    solve_job(save_job(folder, walking_job()), folder / "out", workers=1)
    return folder / "out"


@pytest.mark.parametrize(
    ("form", "files"),
    [
        ("gltf", {"chase_010_cam.glb", "chase_020_cam.glb"}),
        ("csv", {"chase_010_cam.csv", "chase_020_cam.csv"}),
        (
            "usd",
            {
                "chase.usda",
                *(f"chase_0{k}0_cam{s}.usda" for k in (1, 2) for s in ("", "_shake")),
            },
        ),
    ],
)
def test_each_form_has_a_file_a_shot(solved, tmp_path, form, files, capsys) -> None:
    target = tmp_path / "there"
    assert main(["export", str(solved), "--to", form, "-o", str(target)]) == 0
    assert set(files_below(target)) == files
    assert f"chase: {len(files)} files in {target}" in capsys.readouterr().out


def test_the_same_takes_give_the_same_bytes(solved, tmp_path) -> None:
    for form in ("usd", "gltf", "csv"):
        for folder in ("a", "b"):
            words = ["export", str(solved), "--to", form, "-o", str(tmp_path / folder)]
            assert main(words) == 0
    assert files_below(tmp_path / "a") == files_below(tmp_path / "b")


def test_files_go_beside_the_takes_where_no_folder_is_named(solved, capsys) -> None:
    assert main(["export", str(solved), "--to", "csv", "--shots", "020", "--json"]) == 0
    (said,) = json.loads(capsys.readouterr().out)
    path = solved / "chase/export/csv/chase_020_cam.csv"
    assert said["files"] == [str(path)]
    assert path.is_file()


def test_a_sequence_holds_every_camera_and_its_shake_can_be_muted(
    solved, tmp_path
) -> None:
    words = ["export", str(solved), "--to", "usd", "-o", str(tmp_path)]
    assert main([*words, "--names", "cam-{shot}"]) == 0
    stage = Usd.Stage.Open(str(tmp_path / "chase.usda"))
    assert UsdGeom.GetStageUpAxis(stage) == "Z"
    assert UsdGeom.GetStageMetersPerUnit(stage) == 0.01
    assert stage.GetTimeCodesPerSecond() == 24000 / 1001
    cut = stage.GetRootLayer().customLayerData["carrellata"]["cut"]
    assert list(cut) == ["cam_010", "cam_020"]
    for shot in ("010", "020"):
        at = f"/chase/cam_{shot}/rail/head/shake/camera"
        lens = UsdGeom.Camera(stage.GetPrimAtPath(at))
        shaken = lens.GetCamera(1010).transform
        alone = Usd.Stage.Open(str(tmp_path / f"cam-{shot}.usda"))
        same = UsdGeom.Camera(
            alone.GetPrimAtPath(f"/cam_{shot}/rail/head/shake/camera")
        )
        assert same.GetCamera(1010).transform == shaken
        layer = Sdf.Layer.FindOrOpen(str(tmp_path / f"cam-{shot}_shake.usda"))
        stage.MuteLayer(layer.identifier)
        assert lens.GetCamera(1010).transform != shaken


def test_sparse_keys_say_who_can_read_them(solved, tmp_path, capsys) -> None:
    words = ["export", str(solved), "--to", "usd", "-o", str(tmp_path)]
    assert main([*words, "--keys", "sparse"]) == 0
    assert "note: sparse keys are splines" in capsys.readouterr().err
    assert "spline" in (tmp_path / "chase_010_cam.usda").read_text()
    assert main(words) == 0
    assert capsys.readouterr().err == ""
    assert "spline" not in (tmp_path / "chase_010_cam.usda").read_text()


def test_a_scene_lends_its_axes_and_units(solved, tmp_path) -> None:
    like = Usd.Stage.CreateNew(str(tmp_path / "set.usda"))
    UsdGeom.SetStageUpAxis(like, "Y")
    UsdGeom.SetStageMetersPerUnit(like, 1.0)
    like.SetTimeCodesPerSecond(24000 / 1001)
    like.Save()
    words = ["export", str(solved), "--to", "usd", "--shots", "010"]
    assert main([*words, "-o", str(tmp_path / "own")]) == 0
    words += ["--like", str(tmp_path / "set.usda")]
    assert main([*words, "-o", str(tmp_path / "like")]) == 0
    at = "/chase_010_cam/rail/head/shake/camera"
    places = {}
    for folder in ("own", "like"):
        stage = Usd.Stage.Open(str(tmp_path / folder / "chase_010_cam.usda"))
        seen = UsdGeom.Camera(stage.GetPrimAtPath(at)).GetCamera(1010)
        places[folder] = seen.transform.ExtractTranslation()
        assert seen.horizontalFieldOfView == pytest.approx(52.9, abs=0.1)
    x, y, z = places["own"]
    assert places["like"] == pytest.approx((x / 100, z / 100, -y / 100))


@pytest.mark.parametrize(
    ("author", "said"),
    [
        (lambda stage: None, "does not say its upAxis, metersPerUnit"),
        (lambda stage: UsdGeom.SetStageUpAxis(stage, "Y"), "does not say its meters"),
        (lambda stage: stage.SetTimeCodesPerSecond(48), "time codes a second"),
    ],
)
def test_a_scene_that_does_not_fit_is_refused(
    solved, tmp_path, author, said, capsys
) -> None:
    like = Usd.Stage.CreateNew(str(tmp_path / "set.usda"))
    if "codes" in said:
        UsdGeom.SetStageUpAxis(like, "Y")
        UsdGeom.SetStageMetersPerUnit(like, 1.0)
    author(like)
    like.Save()
    words = ["export", str(solved), "--to", "usd", "-o", str(tmp_path / "out")]
    assert main([*words, "--like", str(tmp_path / "set.usda")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("text", ["#usda 1.0\n(", "no scene", ""])
def test_what_is_no_scene_is_refused(solved, tmp_path, text, capsys) -> None:
    (tmp_path / "set.usda").write_text(text)
    words = ["export", str(solved), "--to", "usd", "-o", str(tmp_path / "out")]
    assert main([*words, "--like", str(tmp_path / "set.usda")]) == 2
    assert "is not an OpenUSD scene" in capsys.readouterr().err
    assert main([*words, "--like", str(tmp_path / "none.usda")]) == 2
    assert "no such file" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--shots", "999"], '--shots: "999" is not a shot with a take (010, 020)'),
        (["--names", "../{shot}"], "--names: must give letters"),
        (["--names", "chase"], '--names: gives more than one shot the name "chase"'),
    ],
)
def test_what_cannot_be_written_is_refused(
    solved, tmp_path, words, said, capsys
) -> None:
    target = tmp_path / "out"
    words = ["export", str(solved), "--to", "usd", "-o", str(target), *words]
    assert main(words) == 2
    assert said in capsys.readouterr().err
    assert not target.exists()


def test_a_camera_may_not_have_the_sequences_name(solved, tmp_path, capsys) -> None:
    words = ["export", str(solved), "--to", "usd", "-o", str(tmp_path), "--shots"]
    assert main([*words, "010", "--names", "{sequence}"]) == 2
    assert 'the name of the sequence, "chase"' in capsys.readouterr().err


def test_a_missing_extra_is_named(solved, tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setattr(extras, "find_spec", lambda name: None)
    words = ["export", str(solved), "-o", str(tmp_path / "out"), "--to"]
    for form, extra in (("usd", "scene"), ("frames", "plots"), ("stills", "plots")):
        assert main([*words, form]) == 2
        assert f'pip install "carrellata[{extra}]"' in capsys.readouterr().err
    assert main([*words, "gltf"]) == 0


def test_an_empty_folder_is_named(tmp_path, capsys) -> None:
    assert main(["export", str(tmp_path), "--to", "csv"]) == 2
    assert "holds no takes" in capsys.readouterr().err


def test_failed_shots_are_told_of(tmp_path, capsys) -> None:
    ghost = {"name": "g", "file": "no.csv", "at": "floor", "height_m": 1.7}
    shots = (walking_shot("010"), walking_shot("020", subjects=[ghost]))
    job = save_job(tmp_path, walking_job(*shots))
    solve_job(job, tmp_path / "out", workers=1)
    assert main(["export", str(tmp_path / "out"), "--to", "gltf"]) == 0
    assert "note: 020 has no take and is left out" in capsys.readouterr().err
