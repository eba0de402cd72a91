"""Packing of the scene: what the page unpacks is what went in."""

import base64
import gzip

import numpy as np
import pytest
from handover_sheets import small_scene

from mirrorprep.errors import UsageError
from mirrorprep.handover.view import Scene, SceneBody, pack_scene
from mirrorprep.solid.primitives import box, sphere


def unpack(packed):
    """The same steps as in view.js, in numpy."""
    stream = gzip.decompress(base64.b64decode(packed.data))
    at = 0

    def joined(count, width):
        nonlocal at
        planes = np.frombuffer(stream[at : at + count * width], dtype=np.uint8).reshape(width, count)
        at += count * width
        return sum(planes[place].astype(np.int64) << (8 * place) for place in range(width))

    bodies = []
    for body in packed.header["bodies"]:
        steps = np.cumsum(joined(3 * body["vertices"], 2)) & 0xFFFF
        share = steps.reshape(3, -1).T / 65535
        positions = np.array(body["low"]) + share * np.array(body["span"])
        folded = joined(3 * body["triangles"], 4)
        indices = np.cumsum(np.where(folded & 1, -(folded + 1) // 2, folded // 2)).reshape(-1, 3)
        maps = {}
        for name in body["maps"]:
            maps[name] = np.frombuffer(stream[at : at + body["vertices"]], dtype=np.uint8)
            at += body["vertices"]
        bodies.append((positions, indices, maps))
    assert at == len(stream)
    return bodies


def test_positions_and_faces_come_back():
    scene = small_scene()
    packed = pack_scene(scene)
    for body, (positions, indices, _) in zip(scene.bodies, unpack(packed), strict=True):
        mesh = body.mesh.mesh
        assert len(indices) == len(mesh.faces)
        wanted, found = (
            np.sort(np.linalg.norm(c.mean(axis=1), axis=1)) for c in (mesh.triangles, positions[indices])
        )
        np.testing.assert_allclose(found, wanted, atol=1e-3)
        a, b, c = (positions[indices[:, i]] for i in range(3))
        volume = np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6
        assert volume == pytest.approx(body.mesh.volume_mm3, rel=1e-4)


def test_map_values_come_back_with_gaps():
    packed = pack_scene(small_scene())
    positions, _, maps = unpack(packed)[0]
    spans = {item["name"]: (item["low"], item["high"]) for item in packed.header["maps"]}
    assert spans == {"undercut depth": (0.0, 10.0), "deviation": (-1.0, 1.0)}
    depth = (maps["undercut depth"].astype(float) - 1) / 254 * 10
    np.testing.assert_allclose(depth, np.maximum(positions[:, 2], 0), atol=0.03)
    assert (maps["deviation"] == 0).tolist() == (positions[:, 2] > 9 + 1e-3).tolist()


def test_heavy_scenes_are_decimated_and_say_so():
    ball = sphere(50, segments=256)
    packed = pack_scene(Scene(bodies=[SceneBody(name="ball", mesh=ball)]), most=5000)
    assert packed.triangles == len(ball.mesh.faces)
    assert 4000 < packed.shown_triangles <= 5000


def test_same_scene_same_bytes():
    first, second = (pack_scene(small_scene()) for _ in range(2))
    assert first.data == second.data
    assert first.header == second.header


@pytest.mark.parametrize(("pull", "up"), [((0, 0, 1), (0, 1, 0)), ((0, 0, 1), (0, 0, 1)), (None, (0, 0, 1))])
def test_the_eye_stands_across_the_pull(pull, up):
    scene = Scene(bodies=[SceneBody(name="cube", mesh=box([1, 1, 1]))], pull_direction=pull, up=up)
    front = np.array(pack_scene(scene).header["front"])
    assert np.linalg.norm(np.cross(front, up)) > 0.5
    if pull is not None:
        assert abs(front @ pull) / np.linalg.norm(front) < 0.6


def test_an_empty_body_is_no_trouble():
    nothing = box([1, 1, 1]) - box([2, 2, 2])
    packed = pack_scene(
        Scene(bodies=[SceneBody(name="nothing", mesh=nothing), SceneBody(name="c", mesh=box([1, 1, 1]))])
    )
    assert packed.header["bodies"][0]["triangles"] == 0


def test_maps_fit_their_mesh():
    with pytest.raises(UsageError, match="3 values for 8 vertices"):
        SceneBody(name="cube", mesh=box([1, 1, 1]), maps={"depth": np.zeros(3)})
