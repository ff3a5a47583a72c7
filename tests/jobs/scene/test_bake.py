"""Scenes are read as they say: shapes, places, axes, units, and what is seen."""

from pathlib import Path

import numpy as np
import pytest
from scene_files import ROOM, add_mesh, corners_of, new_scene, write_gltf, write_room

from carrellata.jobs.job.stage import SetSpec
from carrellata.jobs.scene.baked import bake, read_baked
from carrellata.jobs.scene.faults import SetError
from carrellata.jobs.scene.polygons import triangles_of
from carrellata.jobs.scene.read import baked_bytes, read_set
from carrellata.solver.sight.set_mesh import SetMesh
from carrellata.solver.sight.tree import CLOSED, THIN

pytest.importorskip("pxr")


def _read(place: Path, **fields: object) -> SetMesh:
    asked = SetSpec.model_validate({"file": place.name, **fields})
    return read_set(asked, place.parent, "stage.set").mesh


def _refusal(place: Path, **fields: object) -> str:
    with pytest.raises(SetError) as refused:
        _read(place, **fields)
    return str(refused.value)


def _volume(mesh: SetMesh, name: str) -> float:
    """Return the volume inside a part, positive where its faces point out."""
    a, b, c = np.moveaxis(mesh.corners[mesh.part == mesh.names.index(name)], 1, 0)
    return float(np.einsum("tc,tc->", a, np.cross(b, c)) / 6)


def _box(mesh: SetMesh, name: str) -> list[list[float]]:
    points = mesh.corners[mesh.part == mesh.names.index(name)].reshape(-1, 3)
    return [points.min(axis=0).tolist(), points.max(axis=0).tolist()]


@pytest.mark.parametrize(("up", "metres"), [("Y", 1.0), ("Z", 0.01), ("Z", 1.0)])
def test_a_room_is_the_same_in_any_axes_and_units(
    tmp_path: Path, up: str, metres: float
) -> None:
    mesh = _read(write_room(tmp_path / "room.usda", up=up, metres=metres))
    assert mesh.names == tuple(ROOM)
    for name, box in ROOM.items():
        np.testing.assert_allclose(_box(mesh, name), box, atol=1e-5)
        size = np.prod(np.subtract(*box[::-1]))
        assert _volume(mesh, name) == pytest.approx(size, rel=1e-5)
    assert (mesh.flags == CLOSED).all()


def test_a_scene_in_gltf_gives_the_same_set(tmp_path: Path) -> None:
    usd = _read(write_room(tmp_path / "room.usda"))
    gltf = _read(write_gltf(tmp_path / "room.gltf", ROOM))
    assert usd.names == gltf.names
    for name in ROOM:
        np.testing.assert_allclose(_box(gltf, name), _box(usd, name), atol=1e-6)
        assert _volume(gltf, name) == pytest.approx(_volume(usd, name), rel=1e-6)


def test_a_node_is_where_its_parents_put_it_and_mirrored_ones_stay_outside_out(
    tmp_path: Path,
) -> None:
    unit = {"box": ((-1.0, -1.0, -1.0), (1.0, 1.0, 1.0))}
    half = np.sqrt(0.5)
    node = {
        "translation": [1.0, 2.0, 3.0],
        "rotation": [0.0, half, 0.0, half],
        "scale": [-2.0, 1.0, 1.0],
        "extras": {"wild": True},
    }
    mesh = _read(write_gltf(tmp_path / "one.gltf", unit, box=node))
    np.testing.assert_allclose(_box(mesh, "box"), [[0, 1, 1], [2, 3, 5]], atol=1e-6)
    assert _volume(mesh, "box") == pytest.approx(16.0)
    assert mesh.wild.tolist() == [True]


def test_only_what_a_camera_would_see_of_a_scene_counts(tmp_path: Path) -> None:
    from pxr import Gf, Sdf, UsdGeom

    stage = new_scene(tmp_path / "hall.usda")
    cube = UsdGeom.Cube.Define(stage, "/World/set/crate")
    cube.CreateSizeAttr(2.0)
    UsdGeom.Xformable(cube).AddTranslateOp().Set(Gf.Vec3d(0.0, 1.0, 5.0))
    UsdGeom.Cylinder.Define(stage, "/World/set/column").CreateHeightAttr(4.0)
    UsdGeom.Cube.Define(stage, "/World/set/gone").CreateVisibilityAttr("invisible")
    UsdGeom.Cube.Define(stage, "/World/set/proxy").CreatePurposeAttr("proxy")
    flat = add_mesh(stage, "/World/set/left", corners_of(((3, 0, 0), (4, 1, 1))))
    flat.CreateOrientationAttr("leftHanded")
    wall = stage.DefinePrim("/World/set/walls")
    wall.CreateAttribute("carrellata:wild", Sdf.ValueTypeNames.Bool).Set(True)
    UsdGeom.Cube.Define(stage, "/World/set/walls/east")
    stage.Save()
    mesh = _read(tmp_path / "hall.usda", prims=["/World/set"])
    assert mesh.names == ("crate", "column", "left", "east")
    assert _box(mesh, "crate") == [[-1.0, 0.0, 4.0], [1.0, 2.0, 6.0]]
    assert _volume(mesh, "crate") == pytest.approx(8.0)
    assert _volume(mesh, "left") == pytest.approx(-1.0)  # its points are turned inward
    # A 24-gon has 0.9886 of the circle's area.
    assert _volume(mesh, "column") == pytest.approx(0.9886 * np.pi * 4.0, rel=1e-3)
    assert mesh.wild.tolist() == [False, False, False, True]


def test_instances_and_scattered_prims_are_where_they_are_seen(tmp_path: Path) -> None:
    from pxr import Gf, UsdGeom

    stage = new_scene(tmp_path / "hall.usda")
    UsdGeom.Xform.Define(stage, "/Bench")
    UsdGeom.Cube.Define(stage, "/Bench/seat")
    stage.GetPrimAtPath("/Bench").SetSpecifier(_class())
    for k in range(2):
        one = UsdGeom.Xform.Define(stage, f"/World/bench{k}")
        one.GetPrim().GetReferences().AddInternalReference("/Bench")
        one.GetPrim().SetInstanceable(True)
        one.AddTranslateOp().Set(Gf.Vec3d(4.0 * k, 1.0, 0.0))
    many = UsdGeom.PointInstancer.Define(stage, "/World/chairs")
    UsdGeom.Cube.Define(stage, "/World/chairs/chair").CreateSizeAttr(1.0)
    many.CreatePrototypesRel().SetTargets(["/World/chairs/chair"])
    many.CreateProtoIndicesAttr([0, 0, 0])
    many.CreatePositionsAttr([(0, 0.5, -5), (2, 0.5, -5), (4, 0.5, -5)])
    many.CreateInvisibleIdsAttr([1])
    stage.Save()
    mesh = _read(tmp_path / "hall.usda", prims=["/World"])
    assert mesh.names == (
        "/World/bench0/seat",
        "/World/bench1/seat",
        "chairs",
    )
    assert _box(mesh, "/World/bench1/seat") == [[3.0, 0.0, -1.0], [5.0, 2.0, 1.0]]
    assert _volume(mesh, "chairs") == pytest.approx(2.0)
    assert _box(mesh, "chairs") == [[-0.5, 0.0, -5.5], [4.5, 1.0, -4.5]]


def _class() -> object:
    from pxr import Sdf

    return Sdf.SpecifierClass


def test_a_wall_of_one_face_keeps_its_doorway(tmp_path: Path) -> None:
    outline = [(0, 0), (2, 0), (2, 2), (3, 2), (3, 0), (6, 0), (6, 3), (0, 3)]
    points = np.array([(x, y, 0.0) for x, y in outline])
    triangles = triangles_of(points, np.array([8]), np.arange(8))
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    assert np.cross(b - a, c - a)[:, 2].sum() / 2 == pytest.approx(18.0 - 2.0)
    assert (np.cross(b - a, c - a)[:, 2] > 0).all()
    stage = new_scene(tmp_path / "wall.usda")
    add_mesh(stage, "/World/wall", points, [tuple(range(8))])
    stage.Save()
    mesh = _read(tmp_path / "wall.usda")
    through, beside = np.array([[2.5, 1.0, -1.0]]), np.array([[1.5, 1.0, -1.0]])
    ahead = np.array([[0.0, 0.0, 2.0]])
    assert mesh.met(through, through + ahead).tolist() == [-1]
    assert mesh.met(beside, beside + ahead).tolist() == [0]


def test_thin_rails_hide_nobody_and_thin_walls_do(tmp_path: Path) -> None:
    boxes = {
        "rope": ((-2.0, 1.0, 0.0), (2.0, 1.015, 0.015)),
        "sheet": ((-2.0, 0.0, 1.0), (2.0, 2.0, 1.004)),
    }
    mesh = _read(write_gltf(tmp_path / "a.gltf", boxes))
    thin = (mesh.flags & THIN) > 0
    assert set(mesh.part[thin].tolist()) == {0}
    assert thin.sum() == 12
    assert not (_read(tmp_path / "a.gltf", thin_m=0.01).flags & THIN).any()


def test_what_the_job_calls_wild_is_wild_with_all_below_it(tmp_path: Path) -> None:
    place = write_room(tmp_path / "room.usda")
    assert _read(place, wild=["/World/set/north"]).wild.tolist() == [0, 1, 0]
    assert _read(place, wild=["/World/set"]).wild.all()
    assert _read(place, wild=["pillar"]).wild.tolist() == [0, 0, 1]
    assert "has no part 'south' in its set" in _refusal(place, wild=["south"])


def test_a_baked_file_is_read_as_the_scene_is_and_its_bytes_are_the_same(
    tmp_path: Path,
) -> None:
    place = write_room(tmp_path / "room.usda")
    asked = SetSpec(file="room.usda")
    data = baked_bytes(asked, tmp_path, "stage.set")
    again = write_room(tmp_path / "again.usda")
    assert baked_bytes(SetSpec(file=again.name), tmp_path, "stage.set") == data
    (tmp_path / "room.set.parquet").write_bytes(data)
    one = read_set(asked, tmp_path, "stage.set")
    two = read_set(SetSpec(file="room.set.parquet"), tmp_path, "stage.set")
    assert one.digest == two.digest
    assert one.mesh.corners.tobytes() == two.mesh.corners.tobytes()
    place.unlink()
    assert "is not a file" in _refusal(place)


@pytest.mark.parametrize("data", [b"", b"PAR1", b"not a table at all"])
def test_a_file_that_nothing_was_baked_to_is_refused(data: bytes) -> None:
    with pytest.raises(SetError, match="is no baked set; make one by"):
        read_baked(data, "stage.set.file", "'x.parquet'")


def test_broken_scenes_are_refused_in_clear_words(tmp_path: Path) -> None:
    from pxr import UsdGeom

    place = write_room(tmp_path / "room.usda")
    words = _refusal(place, prims=["/World/sett"])
    assert words == (
        "stage.set.prims[0]: 'room.usda' has no prim '/World/sett'; did you mean "
        "'/World/set'"
    )
    assert (
        _refusal(tmp_path / "none.usda") == "stage.set.file: 'none.usda' is not a file"
    )
    (tmp_path / "bad.usda").write_text("#usda 1.0\ndef Mesh {")
    assert "cannot be opened as an OpenUSD scene" in _refusal(tmp_path / "bad.usda")

    stage = new_scene(tmp_path / "empty.usda")
    UsdGeom.Mesh.Define(stage, "/World/door")
    stage.Save()
    words = _refusal(tmp_path / "empty.usda", prims=["/World/door"])
    assert words.endswith("'/World/door' of 'empty.usda' has no triangle that is seen")
    assert "has no triangle that is seen" in _refusal(tmp_path / "empty.usda")

    stage = new_scene(tmp_path / "holes.usda")
    add_mesh(stage, "/World/wall", np.zeros((3, 3)))
    stage.Save()
    words = _refusal(tmp_path / "holes.usda")
    assert "'/World/wall' has 3 points and a face of point 7" in words

    stage = new_scene(tmp_path / "ball.usda")
    UsdGeom.Sphere.Define(stage, "/World/ball")
    stage.Save()
    assert "'/World/ball' is a Sphere; a set is read from" in _refusal(
        tmp_path / "ball.usda"
    )


def test_wrong_units_are_refused(tmp_path: Path) -> None:
    room = write_room(tmp_path / "room.usda", metres=None)
    assert "does not say metersPerUnit" in _refusal(room)
    assert _read(room, units="m").names == tuple(ROOM)
    small = write_room(tmp_path / "small.usda", metres=1.0)
    text = small.read_text().replace("metersPerUnit = 1", "metersPerUnit = 0.001")
    small.write_text(text)
    assert _refusal(small) == (
        "stage.set.file: 'small.usda' is 0.012 m across, a set has 0.5 to 5000 m: "
        "check its units"
    )


def test_a_million_triangles_are_refused(tmp_path: Path) -> None:
    stage = new_scene(tmp_path / "huge.usdc")
    n = 710
    x, z = np.meshgrid(np.arange(n), np.arange(n))
    points = np.column_stack([x.ravel(), np.zeros(n * n), z.ravel()]) / 10.0
    k = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    quads = np.column_stack([k, k + n, k + n + 1, k + 1])
    from pxr import UsdGeom, Vt

    mesh = UsdGeom.Mesh.Define(stage, "/World/ground")
    mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(points.astype("f4")))
    mesh.CreateFaceVertexCountsAttr(Vt.IntArray.FromNumpy(np.full(len(k), 4, "i4")))
    mesh.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(quads.ravel().astype("i4")))
    stage.Save()
    assert _refusal(tmp_path / "huge.usdc") == (
        "stage.set.file: 'huge.usdc' has 1005362 triangles, limit 500000: name fewer "
        "prims, or a simpler version of it"
    )


def test_broken_gltf_is_refused_in_clear_words(tmp_path: Path) -> None:
    place = write_gltf(tmp_path / "room.gltf", ROOM)
    whole = place.read_text()
    assert "has no node 'south'" in _refusal(place, prims=["south"])
    for old, new, words in (
        ('"count": 8', '"count": 80000', "has a buffer that ends too early"),
        ('"VEC3"', '"VEC9"', "is not a sound glTF 2.0 file"),
        ('{"asset"', '{"extensionsRequired": ["KHR_draco_mesh_compression"], "asset"',
         "needs KHR_draco_mesh_compression, which is not read"),
        ('"scene": 0', '"scene": 4', "is not a sound glTF 2.0 file"),
        ("data:application", "data_application", "which is not there"),
    ):  # fmt: skip
        assert old in whole
        place.write_text(whole.replace(old, new))
        assert words in _refusal(place)


def test_nothing_is_baked_of_nothing() -> None:
    with pytest.raises(SetError, match="no triangle"):
        bake([], thin_m=0.0, path="stage.set.file", label="'x'")
