import pytest

from mirrorprep.condition.decimate import decimate
from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.progress import Progress
from mirrorprep.solid.primitives import box, sphere


@pytest.mark.parametrize(("tolerance", "share"), [(0.05, 0.7), (0.2, 0.3)])
def test_the_deviation_stays_within_a_few_tolerances_and_is_what_is_measured(tolerance, share):
    result = decimate(sphere(30.0, segments=200), tolerance_mm=tolerance)
    assert result.triangles_after < share * result.triangles_before
    assert 0 < result.deviation.max_mm < 2 * tolerance
    assert abs(result.volume_change_mm3) < 4 * 3.1416 * 900 * tolerance
    assert len(result.solid.mesh.faces) == result.triangles_after
    assert result.as_dict()["tolerance_mm"] == tolerance


def test_features_larger_than_the_tolerance_stay():
    part = sphere(30.0, segments=120) + box([2, 2, 2], center_mm=[30.5, 0, 0])
    result = decimate(part, tolerance_mm=0.1)
    assert result.solid.bounds_mm[1][0] == pytest.approx(31.5)
    assert result.deviation.max_mm < 0.2


@pytest.mark.parametrize("wanted", [300, 2000])
def test_a_number_of_triangles_is_met_with_about_the_smallest_tolerance(wanted):
    ball = sphere(30.0, segments=120)
    result = decimate(ball, triangles=wanted)
    assert 0.4 * wanted < result.triangles_after <= wanted
    finer = decimate(ball, tolerance_mm=result.tolerance_mm / 1.3)
    assert finer.triangles_after > wanted


def test_a_flat_box_loses_all_that_is_needless():
    cut = box([10, 10, 10]) + box([10, 10, 10], center_mm=[10, 0, 0])
    assert decimate(cut.mesh, tolerance_mm=0.01).triangles_after == 12


@pytest.mark.parametrize(
    "wrong", [{}, {"tolerance_mm": 1.0, "triangles": 9}, {"tolerance_mm": 0.0}, {"triangles": 3}]
)
def test_impossible_requests_are_named(wrong):
    with pytest.raises(UsageError) as caught:
        decimate(box([1, 1, 1]), **wrong)
    assert "Give" in caught.value.remedy


def test_fewer_triangles_than_a_coarse_tolerance_leaves_and_open_meshes_are_refused():
    with pytest.raises(UsageError, match="remain"):
        decimate(sphere(30.0, segments=60), triangles=4)
    mesh = box([1, 1, 1]).mesh
    with pytest.raises(NotASolidError):
        decimate(mesh.with_geometry(mesh.vertices, mesh.faces[1:]), tolerance_mm=0.1)


def test_progress_reaches_one():
    seen = []
    decimate(box([1, 1, 1]), tolerance_mm=0.1, progress=Progress(lambda _, share: seen.append(share)))
    assert seen[-1] == 1.0
