"""The phantom head and its ear: closed, symmetric around the known plane, of published size."""

import numpy as np
import pytest
from scipy.spatial import KDTree

import demo_shapes
from demo_shapes.auricle import auricle
from demo_shapes.face import face
from demo_shapes.head import (
    EAR_BOX_MM,
    from_ear_frame,
    head_field,
    head_pose,
    lone_ear_field,
    moved,
    to_ear_frame,
)
from mirrorprep.errors import UsageError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.reflection import reflect
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.certify import certify, examine

# Length and width: adults, CT, 10.4329/wjr.v16.i12.760 (abstract): men 69.1 ± 5.1 long, 39.4 ± 3.2 and
# 35.1 ± 3.4 wide; projection: PMC4556782, children of 9-13 years, 19.5 ± 2.1.
LENGTH_MM, WIDTH_MM, PROJECTION_MM = (59.0, 69.0), (33.0, 40.0), (16.0, 24.0)


def in_head_frame(head, points):
    return moved(points, np.linalg.inv(head.pose))


def genus(faces):
    return (2 - (len(np.unique(faces)) - len(edge_table(faces).edges) + len(faces))) // 2


def area_points(mesh, count, seed=0):
    """Return points spread over the surface by area."""
    a, b, c = np.moveaxis(mesh.triangles, 1, 0)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(area), count, p=area / area.sum())
    u, v = np.sqrt(rng.random(count)), rng.random(count)
    return (1 - u)[:, None] * a[rows] + (u * (1 - v))[:, None] * b[rows] + (u * v)[:, None] * c[rows]


def test_head_is_one_sound_solid(head):
    assert examine(head.scan).solid
    certify(head.scan)
    assert bodies(head.scan.faces, len(head.scan.vertices))[0] == 1
    assert genus(head.scan.faces) == 0
    assert len(self_intersections(head.scan.vertices, head.scan.faces)) == 0


def test_triangle_counts(small_head, full_head):
    assert 20_000 <= len(small_head.scan.faces) <= 30_000
    assert 150_000 <= len(full_head.scan.faces) <= 250_000


def test_detail_at_the_ear_is_below_a_millimetre(full_head):
    place = to_ear_frame(in_head_frame(full_head, full_head.scan.vertices))
    at_ear = (np.abs(place - [-13, 4, 10]) < [20, 32, 9]).all(axis=1)
    a, b, _ = np.moveaxis(full_head.scan.faces[at_ear[full_head.scan.faces].all(axis=1)], 1, 0)
    edges = np.linalg.norm(full_head.scan.vertices[a] - full_head.scan.vertices[b], axis=1)
    assert len(edges) > 20_000
    assert np.median(edges) < 0.8
    assert np.percentile(edges, 99) < 1.2


def test_head_is_life_size(full_head):
    # Head breadth 141-170, length 180-216 mm: from memory, rounded range of adult men.
    size = np.ptp(in_head_frame(full_head, full_head.scan.vertices), axis=0)
    assert 180 < size[1] < 230  # with the nose
    bare = face_only(full_head)
    assert 141 < np.ptp(bare[:, 0]) < 170
    assert 280 < size[2] < 310  # with the neck


def face_only(head):
    points = in_head_frame(head, head.scan.vertices)
    return points[(points < EAR_BOX_MM[0]).any(axis=1) | (points > EAR_BOX_MM[1]).any(axis=1)]


def test_left_half_is_the_mirror_image_of_the_right_half(head):
    points = area_points(head.scan, 20_000)
    left = points[head.true_plane.distance_mm(points) < 0]
    image = in_head_frame(head, reflect(left, head.true_plane.normal, head.true_plane.offset_mm))
    away = np.abs(head_field(image))
    here = np.abs(head_field(in_head_frame(head, left)))
    at_ear = ((image > EAR_BOX_MM[0]) & (image < EAR_BOX_MM[1])).all(axis=1)
    assert np.abs(away - here)[~at_ear].max() < 1e-9  # the field itself is symmetric there
    assert at_ear.sum() > 300
    assert away[at_ear].max() > 2.0  # but not under the ear


def test_skin_around_the_ear_is_the_other_sides_skin():
    # Known truth for seating: the ear and its fillet of 5 mm apart, both sides are one formula, bit by bit,
    # and nothing steps at the border of the box in which the ear is joined to the head.
    points = np.random.default_rng(3).uniform(EAR_BOX_MM[0] - 4.0, EAR_BOX_MM[1] + 4.0, (300_000, 3))
    points = points[np.abs(face(points)) < 3.0]
    skin, joined = face(points), head_field(points)
    inside = np.minimum(points - EAR_BOX_MM[0], EAR_BOX_MM[1] - points).min(axis=1)
    beyond = auricle(to_ear_frame(points)) > skin + 5.0
    canal = np.linalg.norm(to_ear_frame(points), axis=1) < 20.0
    assert (beyond & (inside > 0.0)).sum() > 10_000
    assert np.array_equal(joined[beyond & ~canal], skin[beyond & ~canal])
    assert np.array_equal(joined[inside < 5.0], skin[inside < 5.0])
    assert np.abs(joined - skin).max() > 3.0


def test_every_other_plane_fits_worse(small_head):
    plane, points = small_head.true_plane, small_head.scan.vertices
    left = points[plane.distance_mm(points) < -3.0]
    tree = KDTree(area_points(small_head.scan, 400_000))
    left = left[::7]

    def misfit(normal, offset):
        return np.median(tree.query(reflect(left, normal, offset))[0])

    best = misfit(plane.normal, plane.offset_mm)
    tilt = np.cross(plane.normal, [0.3, 0.5, 0.8])
    for shift in (-1.0, 1.0):
        assert misfit(plane.normal, plane.offset_mm + shift) > 1.1 * best
        turned = plane.normal + np.radians(shift) * tilt / np.linalg.norm(tilt)
        turned /= np.linalg.norm(turned)
        middle = left.mean(axis=0) - plane.distance_mm(left).mean() * plane.normal
        assert misfit(turned, float(turned @ middle)) > 1.1 * best


def test_triangles_are_not_symmetric(small_head):
    image = reflect(small_head.scan.vertices, small_head.true_plane.normal, small_head.true_plane.offset_mm)
    away = KDTree(small_head.scan.vertices).query(image)[0]
    assert np.median(away) > 0.1


def test_pose_is_oblique_and_proper(small_head):
    rotation = small_head.pose[:3, :3]
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    assert np.degrees(np.arccos(np.abs(rotation).max())) > 5.0
    assert abs(small_head.true_plane.offset_mm) > 5.0
    assert not np.allclose(head_pose(1), head_pose(2))


def test_left_side_has_no_ear(head):
    points = in_head_frame(head, head.scan.vertices)
    assert points[:, 0].max() > 86.0
    assert points[:, 0].min() > -77.0


def test_missing_ear_is_the_image_of_the_ear_and_fits_the_skin(head):
    assert examine(head.true_ear).solid
    image = reflect(head.true_ear.vertices, head.true_plane.normal, head.true_plane.offset_mm)
    lone = lone_ear_field(to_ear_frame(in_head_frame(head, image)))
    assert np.abs(lone).max() < 0.05
    skin = head_field(in_head_frame(head, head.true_ear.vertices))
    assert skin.min() == pytest.approx(-1.2, abs=0.4)  # its back lies 1.2 mm under the skin
    assert (skin > 5.0).mean() > 0.3


def test_landmarks_lie_on_the_skin_and_in_pairs(head):
    marks = head.landmarks
    fields = {name: abs(head_field(in_head_frame(head, place[None]))[0]) for name, place in marks.items()}
    assert fields.pop("tragion_left") > 1.0  # belongs to the missing ear
    assert max(fields.values()) < 0.01
    for name in ("exocanthion", "endocanthion", "alare", "cheilion", "tragion"):
        image = reflect(marks[f"{name}_right"][None], head.true_plane.normal, head.true_plane.offset_mm)[0]
        assert np.allclose(image, marks[f"{name}_left"], atol=1e-9)
        assert head.true_plane.distance_mm(marks[f"{name}_right"]) > 10.0
    for name in ("glabella", "nasion", "pronasale", "subnasale", "pogonion", "gnathion"):
        assert abs(head.true_plane.distance_mm(marks[name])) < 1e-9


def test_ear_is_one_sound_solid(ear):
    mesh = ear.solid.mesh
    assert examine(mesh).solid
    assert bodies(mesh.faces, len(mesh.vertices))[0] == 1
    assert genus(mesh.faces) == 0
    assert len(self_intersections(mesh.vertices, mesh.faces)) == 0


def test_ear_has_the_published_size(ear):
    marks = ear.landmarks
    assert LENGTH_MM[0] <= np.linalg.norm(marks["superaurale"] - marks["subaurale"]) <= LENGTH_MM[1]
    assert WIDTH_MM[0] <= np.linalg.norm(marks["preaurale"] - marks["postaurale"]) <= WIDTH_MM[1]
    assert PROJECTION_MM[0] <= ear.projection_mm <= PROJECTION_MM[1]
    assert ear.length_mm == pytest.approx(np.linalg.norm(marks["superaurale"] - marks["subaurale"]))
    assert ear.width_mm == pytest.approx(np.linalg.norm(marks["preaurale"] - marks["postaurale"]))


def test_ear_landmarks_are_its_outermost_points(ear):
    points, marks = ear.solid.mesh.vertices, ear.landmarks
    tree = KDTree(area_points(ear.solid.mesh, 300_000))
    for name, place in marks.items():
        if name != "tragion":
            assert tree.query(place)[0] < 0.3, name
    assert marks["superaurale"][1] == pytest.approx(points[:, 1].max(), abs=0.25)
    assert marks["subaurale"][1] == pytest.approx(points[:, 1].min(), abs=0.25)
    assert marks["postaurale"][0] == pytest.approx(points[:, 0].min(), abs=0.25)
    assert marks["helix_lateral"][2] == pytest.approx(points[:, 2].max(), abs=0.25)
    front = points[(points[:, 1] > 14) & (points[:, 2] > 6.0)]
    assert marks["preaurale"][0] == pytest.approx(front[:, 0].max(), abs=0.4)


def test_rim_overhangs_the_scapha(ear):
    # Seen from outside, a line through the rolled lip meets the ear, leaves it and meets it again.
    for height in (2.0, 8.0, 14.0, 20.0):
        line = np.stack(
            np.meshgrid(np.linspace(-30, -20, 80), [height], np.linspace(4, 24, 400), indexing="ij"), axis=-1
        )
        inside = lone_ear_field(line.reshape(-1, 3)).reshape(80, 400) < 0
        entries = (inside[:, 1:] & ~inside[:, :-1]).sum(axis=1)
        assert entries.max() >= 2, height


def test_frames_are_inverse_and_right_handed():
    points = np.random.default_rng(5).normal(size=(20, 3)) * 30
    assert np.allclose(from_ear_frame(to_ear_frame(points)), points)
    axes = from_ear_frame(np.vstack([np.zeros(3), np.eye(3)]))
    assert np.linalg.det(axes[1:] - axes[0]) == pytest.approx(1.0)


def test_asymmetry_has_the_asked_size_and_keeps_the_plane(small_head):
    bent = demo_shapes.phantom_head("small", asymmetry_mm=0.8)
    assert examine(bent.scan).solid
    straight = small_head.scan.vertices
    shift = bent.scan.vertices - straight
    side = small_head.true_plane.distance_mm(straight)
    assert np.abs(shift[side < 0]).max() == 0.0
    assert 0.3 < np.linalg.norm(shift[side > 20], axis=1).mean() < 4.0
    assert bent.true_plane.angle_deg(small_head.true_plane) == 0.0
    assert bent.asymmetry_mm == 0.8
    for name in ("nasion", "pronasale", "gnathion"):
        assert np.array_equal(bent.landmarks[name], small_head.landmarks[name])


def test_same_seed_same_bytes_and_other_seed_other_pose(small_head):
    again = demo_shapes.phantom_head("small")
    other = demo_shapes.phantom_head("small", seed=3)
    assert again.scan.vertices.tobytes() == small_head.scan.vertices.tobytes()
    assert again.scan.faces.tobytes() == small_head.scan.faces.tobytes()
    assert other.true_plane.angle_deg(small_head.true_plane) > 1.0
    volume = signed_volume_mm3(small_head.scan.vertices, small_head.scan.faces)
    assert signed_volume_mm3(other.scan.vertices, other.scan.faces) == pytest.approx(volume, rel=1e-12)


def test_what_cannot_be_made_is_refused():
    with pytest.raises(UsageError, match="'huge' is not a level"):
        demo_shapes.phantom_head("huge")
    with pytest.raises(UsageError, match="'huge' is not a level"):
        demo_shapes.ear("huge")
    with pytest.raises(UsageError, match="outside 0 to 5"):
        demo_shapes.phantom_head("small", asymmetry_mm=9.0)
