"""Display bodies: light copies with their maps, packed as the page reads them."""

import json

import numpy as np
import pytest

from mirrorprep.bench.display import MOST_TRIANGLES, Body, Display, frame, map_entry, pack
from mirrorprep.bench.sources import source_of
from mirrorprep.bench.steps import Standing
from mirrorprep.errors import UsageError
from mirrorprep.job.jobfile import job_from
from mirrorprep.job.records import StageRecord, glance, keep
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def header_of(data):
    return json.loads(data[4 : 4 + int.from_bytes(data[:4], "little")])


def store_of(folder, *records):
    for record in records:
        keep(record, folder / f"{record.name}.npz", f"key of {record.name}")
    kept = {record.name: glance(folder / f"{record.name}.npz") for record in records}
    keys = {name: found.key for name, found in kept.items()}
    return keys, kept


def test_a_message_is_aligned():
    for name in ("a", "ab", "abc", "abcd"):
        data = frame({"name": name}, np.zeros(2, dtype="<f4"))
        assert (int.from_bytes(data[:4], "little") + 4) % 4 == 0
        assert len(data) % 4 == 0
        assert header_of(data) == {"name": name}


def test_places_far_from_the_origin_keep_their_digits():
    """Positions are sent relative to their middle: 10 m from the origin 32 bits alone would leave 1 µm."""
    solid = sphere(20.0, center_mm=[1e4, -1e4, 1e4], segments=24).mesh
    body = Body(vertices=solid.vertices, faces=solid.faces, full_triangles=len(solid.faces), maps={})
    data = pack(body, name="a", label="b", told={})
    header = header_of(data)
    start = 4 + int.from_bytes(data[:4], "little")
    places = np.frombuffer(data[start : start + 12 * header["vertices"]], dtype="<f4").reshape(-1, 3)
    assert np.abs(places + np.array(header["center_mm"]) - solid.vertices).max() < 2e-6


def test_maps_say_their_range_and_colours():
    signed = map_entry("asymmetry_mm", np.array([-1.7, np.nan, 0.3]))
    assert (signed["low"], signed["high"], signed["diverging"]) == (-2.0, 2.0, True)
    deep = map_entry("undercut_mm", np.array([0.0, 4.9]))
    assert (deep["low"], deep["high"], deep["diverging"]) == (0.0, 5.0, False)
    assert np.shape(deep["table"]) == (256, 3)
    assert map_entry("new_mm", np.full(3, np.nan))["high"] == 1.0


def test_a_heavy_scan_is_thinned_and_its_map_follows(tmp_path):
    """196k triangles become at most 150k; the map, here each place's height, goes along to within an edge."""
    heavy = sphere(50.0, segments=628).mesh
    assert len(heavy.faces) > MOST_TRIANGLES
    keys, kept = store_of(
        tmp_path,
        StageRecord(name="intake", figures={}, shapes={"scan": heavy}),
        StageRecord(
            name="symmetry",
            figures={"normal": [1.0, 0, 0], "offset_mm": 0.0},
            arrays={"asymmetry_mm": heavy.vertices[:, 2].copy()},
        ),
    )
    standing = Standing(keys=keys, kept=kept, job=job_from({}))
    display = Display(tmp_path)
    body = display.body(source_of("plane", "scan", standing), standing)
    assert len(body.faces) <= MOST_TRIANGLES < body.full_triangles
    assert np.abs(body.maps["asymmetry_mm"] - body.vertices[:, 2]).max() < 2.0
    assert display.packed("plane", "scan", standing) is display.packed("plane", "scan", standing)


def test_a_map_of_another_scan_is_left_out(tmp_path):
    """A scan taken in anew has other vertices than the map that was made for the last one."""
    keys, kept = store_of(
        tmp_path,
        StageRecord(name="intake", figures={}, shapes={"scan": box([1, 2, 3]).mesh}),
        StageRecord(
            name="symmetry",
            figures={"normal": [1.0, 0, 0], "offset_mm": 0.0},
            arrays={"asymmetry_mm": np.zeros(99)},
        ),
    )
    standing = Standing(keys=keys, kept=kept, job=job_from({}))
    header = header_of(Display(tmp_path).packed("plane", "scan", standing))
    assert header["maps"] == []


def test_mending_is_shown_as_distance_and_seating_mirrors_the_whole(tmp_path):
    before = box([10, 10, 10]).mesh
    moved = ScanMesh(vertices=before.vertices * np.array([1.0, 1.0, 1.2]), faces=before.faces)
    keys, kept = store_of(
        tmp_path,
        StageRecord(name="intake", figures={}, shapes={"scan": before}),
        StageRecord(name="condition", figures={}, shapes={"scan": moved}),
        StageRecord(name="symmetry", figures={"normal": [1.0, 0, 0], "offset_mm": 20.0}),
    )
    standing = Standing(keys=keys, kept=kept, job=job_from({"seating": {"seat": True}}))
    display = Display(tmp_path)
    after = display.body(source_of("condition", "after", standing), standing)
    assert after.maps["moved_mm"] == pytest.approx(1.0)
    image = display.body(source_of("mirror", "mirrored", standing), standing)
    assert image.vertices[:, 0].mean() == pytest.approx(40.0)
    assert source_of("seat", "part", standing) is None
    with pytest.raises(UsageError, match="no body"):
        display.packed("seat", "part", standing)


def test_a_record_that_has_just_changed_is_told(tmp_path):
    scan = {"scan": box([1, 1, 1]).mesh}
    keys, kept = store_of(tmp_path, StageRecord(name="intake", figures={}, shapes=scan))
    keep(StageRecord(name="intake", figures={}), tmp_path / "intake.npz", "another key")
    with pytest.raises(UsageError, match="just changed"):
        Display(tmp_path).packed("scan", "scan", Standing(keys=keys, kept=kept, job=job_from({})))
