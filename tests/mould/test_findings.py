from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.mould.assembly import Island
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.findings import (
    fin_findings,
    furniture_findings,
    half_findings,
    island_findings,
    pocket_findings,
)
from mirrorprep.mould.pieces import Division
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.primitives import box, sphere

KEYS = [
    RegisterKey(center_mm=(*place, 0.0), radius_mm=radius, height_mm=3.0, root_mm=1.0, gap_mm=0.35)
    for place, radius in (((-30, -20), 4.2), ((30, -20), 3.0), ((30, 20), 3.0), ((-30, 20), 3.0))
]
TURNED = SimpleNamespace(points_to_part=lambda point: np.asarray(point)[..., [2, 0, 1]])


def pocket(volume, *, vented):
    return AirPocket(
        volume_mm3=volume,
        summit_mm=(1.0, 2.0, 3.0),
        summit_height_mm=2.0,
        saddle_height_mm=1.0,
        vented=vented,
    )


def test_only_unvented_pockets_over_the_limit_are_found():
    settings = MouldSettings()
    assert pocket_findings([pocket(50.0, vented=True), pocket(4.9, vented=False)], TURNED, settings) == []
    (found,) = pocket_findings([pocket(7.0, vented=False), pocket(9.0, vented=False)], TURNED, settings)
    assert found.code == "air-pocket"
    assert found.measured == 9.0
    assert found.where[0] == (3.0, 1.0, 2.0)


@pytest.mark.parametrize(
    ("volume", "fate", "code", "severity"),
    [
        (10.0, "loose", "loose-island", Severity.STOP),
        (1.0, "loose", "loose-island", Severity.CAUTION),
        (1e-9, "loose", "crumbs-left-out", Severity.NOTE),
        (10.0, "half_a", "island-joined", Severity.NOTE),
    ],
)
def test_every_island_is_listed(volume, fate, code, severity):
    island = Island(of_half="half_b", volume_mm3=volume, where_mm=(1.0, 2.0, 3.0), fate=fate)
    (found,) = island_findings([island], TURNED)
    assert (found.code, found.severity) == (code, severity)
    assert found.where == ((3.0, 1.0, 2.0),)


def test_crumbs_are_told_together():
    crumbs = [
        Island(of_half="half_a", volume_mm3=v, where_mm=(v, 0.0, 0.0), fate="loose")
        for v in (8e-7, 2e-7, -1e-9)
    ]
    piece = Island(of_half="half_b", volume_mm3=7.0, where_mm=(0.0, 0.0, 0.0), fate="loose")
    first, told = island_findings([crumbs[0], piece, *crumbs[1:]], TURNED)
    assert (first.code, first.severity) == ("loose-island", Severity.STOP)
    assert (told.code, told.severity, len(told.where)) == ("crumbs-left-out", Severity.NOTE, 3)
    assert told.measured == pytest.approx(1e-6)
    assert told.message.startswith("3 crumbs")
    (alone,) = island_findings(crumbs[:1], TURNED)
    assert alone.message.startswith("A crumb of a half was cut off")


def test_missing_keys_and_bolts_are_found():
    layout = SimpleNamespace(settings=MouldSettings(), keys=KEYS[:2], bolts_uv=[], slots=1, marked=2, coded=0)
    found = furniture_findings(layout)
    assert [f.code for f in found] == ["keys-missing", "bolts-missing", "slots-missing"]
    assert [f.severity for f in found] == [Severity.CAUTION, Severity.CAUTION, Severity.NOTE]
    layout = SimpleNamespace(
        settings=MouldSettings(bolts="none", pry_slots=False),
        keys=KEYS,
        bolts_uv=[],
        slots=0,
        marked=0,
        coded=0,
    )
    assert [f.code for f in furniture_findings(layout)] == ["marks-missing"]


def test_keys_that_fit_turned_are_found():
    twins = [replace(key, radius_mm=3.0) for key in KEYS]
    layout = SimpleNamespace(
        settings=MouldSettings(), keys=twins, bolts_uv=[0] * 4, slots=2, marked=2, coded=0
    )
    (found,) = furniture_findings(layout)
    assert (found.code, found.severity) == ("keys-fit-two-ways", Severity.CAUTION)
    assert (found.measured, found.limit) == (0.0, 0.35)


def test_fins_are_noted():
    def channel(away):
        return SimpleNamespace(mouth_mm=(0.0, 1.0, 5.0 + away), axis_w_mm=5.0)

    layout = SimpleNamespace(frame=TURNED, runners=[channel(0.5), channel(-7.0)])
    (found,) = fin_findings(layout)
    assert (found.code, found.severity, found.measured) == ("channel-fin", Severity.NOTE, 7.0)
    assert found.where == ((-2.0, 0.0, 1.0),)
    assert fin_findings(SimpleNamespace(frame=TURNED, runners=[channel(1.9)])) == []


def test_moved_cavity_vertices_are_found():
    halves = [
        SimpleNamespace(name="half_a", division=Division(), pieces_proof=None, moved_vertices=n)
        for n in (2, 1)
    ]
    (found,) = half_findings(halves, 0, MouldSettings())
    assert (found.code, found.measured) == ("part-touches-itself", 3.0)


def test_hollow_part_stops_with_volume_and_place():
    hollow = sphere(15.0) - sphere(7.0, center_mm=[1, 0, 0])
    settings = MouldSettings(body="block", pull_direction=(0, 0, 1), pour_up=(0, 1, 0))
    mould = build_mould(hollow, settings=settings)
    loose = [f for f in mould.findings if f.code == "loose-island" and f.severity is Severity.STOP]
    assert sum(f.measured for f in loose) == pytest.approx(sphere(7.0).volume_mm3, rel=1e-9)
    assert all(np.linalg.norm(np.array(f.where[0]) - [1, 0, 0]) < 5.0 for f in loose)
    assert mould.identity_error < 1e-9


def test_part_with_touching_edges_is_kept_apart():
    # Two cubes that share an edge, as four corners each: closed by index, pinched by position.
    left, right = box([10, 10, 10], center_mm=[5, 5, 0]).mesh, box([10, 10, 10], center_mm=[-5, -5, 0]).mesh
    from mirrorprep.solid.certify import certify
    from mirrorprep.solid.mesh import ScanMesh

    both = ScanMesh(
        vertices=np.vstack([left.vertices, right.vertices]),
        faces=np.vstack([left.faces, right.faces + len(left.vertices)]),
    )
    settings = MouldSettings(body="block", pull_direction=(0.1, 0.2, 1), casting="flexible")
    mould = build_mould(certify(both), settings=settings)
    for half in mould.proof.halves:
        assert half.welded_bad_edges == 0
