"""Shared fixtures: where the optional test data lies, and simple meshes."""

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of test meshes beside the checkout; tests that need it skip where it is absent."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the folder of shared test meshes is absent")
    return folder
