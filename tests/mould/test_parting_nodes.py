import numpy as np
import pytest

from mirrorprep.geometry.column_raster import columns_at
from mirrorprep.mould.parting import Guide
from mirrorprep.mould.parting_nodes import PUSH_SHARE, parting_nodes, with_probes
from mirrorprep.solid.primitives import box
from mirrorprep.solid.section import silhouette


@pytest.fixture(scope="module")
def laid(saddle_body):
    mesh = saddle_body.mesh
    loops = silhouette(saddle_body).loops
    return mesh, loops, parting_nodes(mesh.vertices, mesh.faces, loops, margin_mm=12.0)


def test_nodes_fill_a_rectangle_around_the_shadow(laid):
    mesh, _, nodes = laid
    low, high = mesh.bounds_mm[:, :2]
    assert (nodes.uv.min(axis=0) <= low - 12.0).all()
    assert (nodes.uv.max(axis=0) >= high + 12.0).all()
    corners = {tuple(c) for c in nodes.uv[nodes.border]}
    for u in (nodes.uv[:, 0].min(), nodes.uv[:, 0].max()):
        for v in (nodes.uv[:, 1].min(), nodes.uv[:, 1].max()):
            assert (u, v) in corners


def test_outline_nodes_stand_just_outside_and_know_the_exact_height(laid):
    # the outline of a bent ellipsoid is that of the ellipsoid: z = (u² − v²) / 60 on u²/40² + v²/30² = 1
    mesh, _, nodes = laid
    rim = nodes.uv[nodes.outline]
    assert not columns_at(rim, mesh.vertices, mesh.faces).filled.any()
    away = np.abs(np.hypot(rim[:, 0] / 40.0, rim[:, 1] / 30.0) - 1.0) * 30.0
    assert away.max() < 3.0 * PUSH_SHARE * 80.0 + 0.02
    middle = (nodes.low_mm[nodes.outline] + nodes.high_mm[nodes.outline]) / 2.0
    np.testing.assert_allclose(middle, (rim[:, 0] ** 2 - rim[:, 1] ** 2) / 60.0, atol=0.15)


def test_bounds_lie_within_the_part(laid):
    mesh, _, nodes = laid
    inside = nodes.bounded & ~nodes.outline
    met = columns_at(nodes.uv[inside], mesh.vertices, mesh.faces)
    assert met.filled.all()
    assert (nodes.low_mm[inside] >= met.bottom_mm).all()
    assert (nodes.high_mm[inside] <= met.top_mm).all()
    assert (nodes.low_mm[inside] < nodes.high_mm[inside]).all()


def test_nodes_thin_out_with_the_distance(laid):
    _, _, nodes = laid
    far = ~nodes.bounded & (np.hypot(nodes.uv[:, 0] / 40, nodes.uv[:, 1] / 30) > 1.25)
    area = np.ptp(nodes.uv, axis=0).prod() - np.pi * 40 * 30 * 1.25**2
    assert far.sum() < 0.25 * area / nodes.spacing_mm**2


def test_guides_hold_strips_and_pads_but_never_the_part(saddle_body):
    mesh = saddle_body.mesh
    guides = (Guide.channel([0, 0, 3], [0, 60, 5], 4.0), Guide.pad([-48, 0], 5.0))
    nodes = parting_nodes(
        mesh.vertices, mesh.faces, silhouette(saddle_body).loops, margin_mm=20.0, guides=guides
    )
    assert nodes.held.sum() > 20
    np.testing.assert_allclose(nodes.low_mm[nodes.held], guides[0].height_mm(nodes.uv[nodes.held]))
    assert (nodes.high_mm == nodes.low_mm)[nodes.held].all()
    assert not columns_at(nodes.uv[nodes.held], mesh.vertices, mesh.faces).filled.any()
    pad = nodes.group < 0
    assert pad.sum() > 10
    assert (guides[1].distance_mm(nodes.uv[pad]) <= 5.0).all()


def test_probes_add_nodes_with_bounds(laid):
    mesh, _, nodes = laid
    uv = np.array([[0.13, 0.21], [5.3, 7.7], nodes.uv[0] + 1e-9])
    more = with_probes(nodes, uv, columns_at(uv, mesh.vertices, mesh.faces))
    assert len(more.uv) == len(nodes.uv) + 2 or len(more.uv) == len(nodes.uv) + 1
    assert len(np.unique(more.group)) == len(more.uv)
    assert more.bounded[len(nodes.uv) :].all()


def test_walls_along_the_pull_leave_the_whole_wall_free():
    block = box([40.0, 30.0, 20.0])
    nodes = parting_nodes(block.mesh.vertices, block.mesh.faces, silhouette(block).loops, margin_mm=5.0)
    assert nodes.low_mm[nodes.outline].max() == pytest.approx(-10.0)
    assert nodes.high_mm[nodes.outline].min() == pytest.approx(10.0)
