"""The generated shapes, made once."""

import pytest

import demo_shapes


@pytest.fixture(scope="session")
def small_head():
    return demo_shapes.phantom_head("small")


@pytest.fixture(scope="session")
def full_head():
    return demo_shapes.phantom_head("full")


@pytest.fixture(scope="session", params=["small", "full"])
def head(request):
    return request.getfixturevalue(f"{request.param}_head")


@pytest.fixture(scope="session", params=["small", "full"])
def ear(request):
    return demo_shapes.ear(request.param)


@pytest.fixture(scope="session", params=["small", "full"])
def animal(request):
    return demo_shapes.animal(request.param)
