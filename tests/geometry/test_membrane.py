import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from mirrorprep.errors import UsageError
from mirrorprep.geometry.height_field import triangulated
from mirrorprep.geometry.membrane import relax, stiffness


def grid(count):
    return np.stack(np.meshgrid(np.arange(count) * 1.0, np.arange(count) * 1.0, indexing="ij"), -1).reshape(
        -1, 2
    )


def scattered(seed, count=40):
    rng = np.random.default_rng(seed)
    uv = np.vstack([[[0, 0], [1, 0], [1, 1], [0, 1]], rng.uniform(0.02, 0.98, size=(count, 2))])
    return uv, stiffness(uv, triangulated(uv))


def test_stiffness_gives_the_energy_of_linear_heights():
    # Dirichlet energy of a plane of slope (a, b) over an area A is (a² + b²) A / 2
    uv = grid(9) / 8.0
    inner = (np.abs(uv - 0.5) < 0.45).all(axis=1)
    uv[inner] += np.random.default_rng(1).uniform(-0.03, 0.03, size=(inner.sum(), 2))
    matrix = stiffness(uv, triangulated(uv))
    x = 3.0 * uv[:, 0] - 2.0 * uv[:, 1]
    assert x @ (matrix @ x) / 2.0 == pytest.approx(13.0 / 2.0, rel=1e-4)
    np.testing.assert_allclose(np.asarray(matrix.sum(axis=1)).ravel(), 0.0, atol=1e-9)


@settings(deadline=None, max_examples=10, derandomize=True)
@given(st.integers(0, 10_000))
def test_relaxed_heights_are_those_of_a_reference_optimiser(seed):
    # outside check: scipy.optimize, L-BFGS-B (Byrd, Lu, Nocedal, Zhu 1995)
    uv, matrix = scattered(seed, 14)
    rng = np.random.default_rng(seed)
    low = np.where(rng.random(len(uv)) < 0.4, rng.normal(size=len(uv)), -np.inf)
    high = np.where(rng.random(len(uv)) < 0.4, np.maximum(low, rng.normal(size=len(uv))), np.inf)
    low[0], high[0] = 0.3, 0.3
    found = relax(matrix, low, high, start_mm=np.zeros(len(uv)))
    assert (found >= low).all()
    assert (found <= high).all()
    reference = minimize(
        lambda x: (0.5 * x @ (matrix @ x), matrix @ x),
        np.clip(np.zeros(len(uv)), low, high),
        jac=True,
        method="L-BFGS-B",
        bounds=list(zip(low, high, strict=True)),
        options={"maxiter": 5000, "ftol": 1e-16, "gtol": 1e-12},
    )
    assert 0.5 * found @ (matrix @ found) <= reference.fun + 1e-9
    np.testing.assert_allclose(found, reference.x, atol=2e-4)


def test_obstacle_on_a_string():
    # a strip pulled taut between its ends over one post: straight lines to the post
    uv = grid(11)
    matrix = stiffness(uv, triangulated(uv))
    low, high = np.full(121, -np.inf), np.full(121, np.inf)
    ends = (uv[:, 0] == 0) | (uv[:, 0] == 10)
    low[ends] = high[ends] = 0.0
    low[uv[:, 0] == 4] = 2.0
    x = relax(matrix, low, high, start_mm=np.zeros(121))
    u = uv[:, 0]
    np.testing.assert_allclose(x, np.where(u <= 4, u / 2.0, (10 - u) / 3.0), atol=1e-5)


@pytest.mark.parametrize("start", [-100.0, 0.0, 100.0])
def test_the_start_does_not_matter(start):
    uv, matrix = scattered(5)
    rng = np.random.default_rng(5)
    low = rng.normal(size=len(uv)) - 1.0
    high = low + rng.uniform(0, 2, len(uv))
    one = relax(matrix, low, high, start_mm=np.zeros(len(uv)))
    np.testing.assert_allclose(relax(matrix, low, high, start_mm=np.full(len(uv), start)), one, atol=1e-9)


def test_a_group_moves_as_one():
    uv = grid(9)
    matrix = stiffness(uv, triangulated(uv))
    low, high = np.full(81, -np.inf), np.full(81, np.inf)
    low[uv[:, 0] == 0] = high[uv[:, 0] == 0] = 0.0
    low[uv[:, 0] == 8] = high[uv[:, 0] == 8] = 8.0
    group = np.arange(81)
    pad = np.hypot(uv[:, 0] - 3, uv[:, 1] - 4) < 1.6
    group[pad] = -1
    x = relax(matrix, low, high, start_mm=np.zeros(81), groups=group)
    assert np.ptp(x[pad]) == 0.0
    assert 2.0 < x[pad][0] < 4.0


def test_crossed_bounds_give_their_mean_and_no_bounds_are_refused():
    _, matrix = scattered(2, 5)
    low, high = np.full(9, -np.inf), np.full(9, np.inf)
    with pytest.raises(UsageError, match="touches nothing"):
        relax(matrix, low, high, start_mm=np.zeros(9))
    low[3], high[3] = 4.0, 2.0
    np.testing.assert_allclose(relax(matrix, low, high, start_mm=np.zeros(9)), 3.0, atol=1e-9)
