import numpy as np
import pytest

from mirrorprep.geometry.column_raster import ColumnGrid, columns_at, raster
from mirrorprep.geometry.height_field import level_field
from mirrorprep.mould.parting import Guide
from mirrorprep.mould.parting_contour import STEEPEST_LAND_DEG, Probes, contour_sheet
from mirrorprep.mould.undercut import raster_frame
from mirrorprep.solid.primitives import box
from mirrorprep.solid.section import silhouette
from mirrorprep.solid.solid import union


def probed(solid, columns=192):
    turn = raster_frame([0.0, 0.0, 1.0])
    points = solid.mesh.vertices @ turn
    grid = ColumnGrid.over(points[:, :2].min(axis=0), points[:, :2].max(axis=0), columns=columns)
    return Probes(grid=grid, turn=turn, columns=raster(points, solid.mesh.faces, grid))


def sheet_of(solid, margin_mm=15.0, guides=()):
    mesh = solid.mesh
    loops = silhouette(solid).loops
    probes = probed(solid)
    return contour_sheet(
        mesh.vertices, mesh.faces, loops, probes=probes, margin_mm=margin_mm, guides=guides
    ), probes


@pytest.fixture(scope="module")
def saddled(saddle_body):
    return sheet_of(saddle_body)


def test_surface_keeps_between_bottom_and_top(saddle_body, saddled):
    sheet, probes = saddled
    assert probes.missed_mm3(sheet.field) <= 2e-5 * saddle_body.volume_mm3
    rng = np.random.default_rng(2)
    uv = rng.uniform([-38, -28], [38, 28], size=(3000, 2))
    met = columns_at(uv, saddle_body.mesh.vertices, saddle_body.mesh.faces)
    assert np.percentile(met.missed_mm(sheet.field.at(uv)), 99) == 0.0


def test_outline_carries_its_own_heights(saddled):
    loop = saddled[0].loops_mm[0]
    # the edge is round: 0.015 mm inside the outline it is 0.26 mm high on either side
    np.testing.assert_allclose(loop[:, 2], (loop[:, 0] ** 2 - loop[:, 1] ** 2) / 60.0, atol=0.3)


def test_edge_is_level_where_that_is_not_too_steep(saddle_body):
    sheet, _ = sheet_of(saddle_body, margin_mm=45.0)
    assert sheet.levelled == 1.0
    assert sheet.steepest_deg <= STEEPEST_LAND_DEG
    field = sheet.field
    edge = (field.nodes_uv == field.low_uv).any(axis=1) | (field.nodes_uv == field.high_uv).any(axis=1)
    assert np.ptp(field.height_mm[edge]) < 1e-9


def test_narrow_land_gives_up_the_level_edge_for_the_slope(saddle_body):
    sheet, _ = sheet_of(saddle_body, margin_mm=5.0)
    # the outline itself climbs 15 mm either way within 50 mm: no land 5 mm wide is much flatter than 45°
    assert sheet.levelled < 1.0
    assert sheet.steepest_deg <= 1.05 * STEEPEST_LAND_DEG


def test_guides_are_met(saddle_body):
    guides = (Guide.channel([0, 34, -12], [0, 50, -15], 3.0), Guide.pad([50, 5], 4.0))
    sheet, probes = sheet_of(saddle_body, margin_mm=25.0, guides=guides)
    axis = np.column_stack([np.zeros(40), np.linspace(35, 49, 40)])
    np.testing.assert_allclose(sheet.field.at(axis), guides[0].height_mm(axis), atol=1e-6)
    around = np.linspace(0, 2 * np.pi, 24)
    ring = [50, 5] + 3.0 * np.column_stack([np.cos(around), np.sin(around)])
    assert np.ptp(sheet.field.at(ring)) < 1e-9
    assert probes.missed_mm3(sheet.field) <= 2e-5 * saddle_body.volume_mm3


def test_missed_columns_get_nodes(bunny, shapes):
    # hidden edges within the shadow: the first surface misses columns there, the refined one does not
    turned = bunny.transformed(shapes.tilt)
    sheet, probes = sheet_of(turned)
    assert probes.missed_mm3(sheet.field) <= 6e-5 * turned.volume_mm3
    low, high = turned.bounds_mm[:, :2]
    level = level_field(low, high, float(turned.bounds_mm[:, 2].mean()))
    assert probes.missed_mm3(level) > 1e-2 * turned.volume_mm3


def test_a_hole_through_the_part_is_bridged():
    ring = box([40, 40, 10]) - box([16, 16, 20])
    step = union([ring, box([40, 8, 4], center_mm=[0, 16, 7])])
    sheet, probes = sheet_of(step)
    assert len(sheet.loops_mm) == 2
    assert np.abs(sheet.field.at([[0.0, 0.0]])[0]) < 7.0
    assert probes.missed_mm3(sheet.field) < 1e-6 * step.volume_mm3
