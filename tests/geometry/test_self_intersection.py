"""Meeting pairs against brute force, rational arithmetic and counts of an independent library.

The counts for files and for the brain surfaces were made with an exact test of an independent library
(CGAL's kernel through libigl's `remesh_self_intersections`, detect only).
"""

from fractions import Fraction

import numpy as np
import pytest

from mirrorprep.geometry.self_intersection import meeting_pairs, self_intersections
from mirrorprep.geometry.triangle_overlap import fans_meet, triangles_meet
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.solid.primitives import box, sphere


def welded(points, faces):
    weld = weld_exact(np.asarray(points, dtype=np.float64))
    return np.asarray(points, dtype=np.float64)[weld.kept], weld.label[np.asarray(faces)]


def by_brute_force(vertices, faces):
    found = set()
    for i in range(len(faces)):
        for j in range(i + 1, len(faces)):
            shared = set(faces[i]) & set(faces[j])
            if len(shared) == 0:
                hit = triangles_meet(vertices[faces[i]][None], vertices[faces[j]][None])[0]
            elif len(shared) == 1:
                apex = shared.pop()
                a, b = ([v for v in face if v != apex] for face in (faces[i], faces[j]))
                hit = fans_meet(vertices[[apex]], vertices[a][None], vertices[b][None])[0]
            else:
                hit = False
            if hit:
                found.add((i, j))
    return found


def crumpled(seed, amount, segments=12):
    ball = sphere(10.0, segments=segments).mesh
    noise = np.random.default_rng(seed).normal(size=ball.vertices.shape) * amount
    return ball.vertices + noise, ball.faces


@pytest.mark.parametrize(("seed", "amount"), [(0, 0.5), (1, 1.5), (2, 3.0)])
def test_agrees_with_testing_every_pair(seed, amount):
    vertices, faces = crumpled(seed, amount)
    found = {tuple(pair) for pair in self_intersections(vertices, faces).tolist()}
    assert found == by_brute_force(vertices, faces)


def test_a_smooth_ball_and_a_box_have_none():
    for part in (sphere(10.0, segments=200), box([3, 4, 5])):
        assert len(meeting_pairs(part.mesh.vertices, part.mesh.faces).all) == 0


def test_does_not_depend_on_a_rigid_motion_by_powers_of_two():
    vertices, faces = crumpled(2, 3.0)
    still = self_intersections(vertices, faces)
    assert len(still) > 10
    turned = vertices[:, [1, 2, 0]] * 4.0
    np.testing.assert_array_equal(self_intersections(turned, faces), still)


def test_marked_faces_only_give_their_own_pairs():
    vertices, faces = crumpled(1, 1.5, segments=40)
    among = np.random.default_rng(0).random(len(faces)) < 0.1
    everything = meeting_pairs(vertices, faces)
    some = meeting_pairs(vertices, faces, among=among)
    expected = everything.all[among[everything.all].any(axis=1)]
    assert 0 < len(expected) < len(everything.all)
    np.testing.assert_array_equal(some.all, expected)


def test_a_triangle_folded_onto_its_neighbour_is_found():
    corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0], [1, 1.5, 0]])
    found = meeting_pairs(corners, np.array([[0, 1, 2], [1, 0, 3]]))
    assert found.folded.tolist() == [[0, 1]]
    assert len(found.crossing) == 0


def test_a_bow_tie_vertex_alone_is_no_meeting_but_a_fan_through_a_fan_is():
    corners = np.array([[0.0, 0, 0], [2, -1, 0], [2, 1, 0], [-2, -1, 0], [-2, 1, 0]])
    assert len(meeting_pairs(corners, np.array([[0, 1, 2], [0, 3, 4]])).all) == 0
    corners[3:] = [[2, 0, -1], [2, 0, 1]]
    assert len(meeting_pairs(corners, np.array([[0, 1, 2], [0, 3, 4]])).crossing) == 1


def test_triangles_without_area_are_left_out():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -1], [0.2, 0.2, 0], [0.2, 0.2, 1]])
    assert len(meeting_pairs(corners, np.array([[0, 1, 2], [3, 4, 5]])).all) == 0


def test_the_right_brain_surface_has_one_pair_and_the_left_none():
    gifti = pytest.importorskip("nibabel")
    datasets = pytest.importorskip("nilearn.datasets")
    surfaces = datasets.fetch_surf_fsaverage("fsaverage5")
    # One pair without a common corner (Open3D's count); with pairs that share a corner 3 (libigl's count).
    for side, apart, everything in (("pial_right", 1, 3), ("pial_left", 0, 0)):
        points, faces = (array.data for array in gifti.load(surfaces[side]).darrays)
        found = meeting_pairs(*welded(points, faces))
        assert (len(found.apart), len(found.all)) == (apart, everything)


@pytest.mark.parametrize(
    ("name", "pairs"),
    [
        ("scans/mf_self_intersectA.obj", 338),
        ("scans/tm_rabbit.obj", 195),
        ("malformed/as_24shells_nm_edges.stl", 356),
        ("scans/os_nefertiti-lowres.obj", 0),
        ("scans/os_skull_low_resolution.obj", 0),
        ("malformed/tm_quadknot.obj", 0),
        ("scans/mc_headsq_skin.ply", 0),
        ("organic/stanford-bunny.ply", 4),
    ],
)
def test_counts_of_public_files(shared_data, name, pairs):
    trimesh = pytest.importorskip("trimesh")
    mesh = trimesh.load(shared_data / name, process=False, force="mesh")
    assert len(meeting_pairs(*welded(mesh.vertices, mesh.faces)).all) == pairs


def overlap_exactly(vertices, one, other):
    """Whether two triangles on a common edge lie in one plane on the same side of it, in fractions."""
    shared = [v for v in one if v in other]
    (left,), (right,) = ([v for v in face if v not in shared] for face in (one, other))
    s, t, p, q = ([Fraction(float(x)) for x in vertices[v]] for v in (*shared, left, right))
    along, to_p, to_q = ([a - b for a, b in zip(x, s, strict=True)] for x in (t, p, q))

    def cross(a, b):
        return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]

    def dot(a, b):
        return sum(x * y for x, y in zip(a, b, strict=True))

    normal = cross(along, to_p)
    return dot(normal, to_q) == 0 and dot(normal, cross(along, to_q)) > 0


def test_the_ear_has_the_pairs_of_the_independent_library_and_five_overlaps_it_misses(shared_data):
    # libigl counts 123 here. Of the needles that lie exactly flat upon a neighbour it counts 20 and misses 5;
    # that all 25 overlap is shown in fractions.
    trimesh = pytest.importorskip("trimesh")
    mesh = trimesh.load(shared_data / "scans/ah_ear_left.stl", process=False)
    vertices, faces = welded(mesh.vertices, mesh.faces)
    found = meeting_pairs(vertices, faces)
    assert (len(found.crossing), len(found.folded)) == (103, 25)
    assert all(overlap_exactly(vertices, faces[i], faces[j]) for i, j in found.folded)
