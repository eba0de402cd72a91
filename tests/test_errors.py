"""The error tree is complete, drawn at its top and survives pickling."""

import pickle

import pytest

from mirrorprep import errors
from mirrorprep.errors import MirrorPrepError
from mirrorprep.progress import Progress

_CODES = {
    "UsageError": 2, "InputFileError": 3, "JobFileError": 4, "GeometryError": 5, "NotASolidError": 5,
    "NoMirrorPlaneError": 5, "NoPartingError": 5, "BooleanFailedError": 5, "StoppedByFindingError": 6,
    "OutputError": 7, "MissingExtraError": 8, "CancelledError": 130,
}  # fmt: skip


def _all(kind: type[MirrorPrepError]) -> list[type[MirrorPrepError]]:
    return [kind, *(sub for child in kind.__subclasses__() for sub in _all(child))]


def test_every_error_has_the_exit_code_of_its_kind():
    """The bench has errors of its own beside the tree, which carry the codes of the tree."""
    kinds = [kind for kind in _all(MirrorPrepError) if kind is not MirrorPrepError]
    found = {kind.__name__: kind.exit_code for kind in kinds if kind.__module__ == errors.__name__}
    assert found == _CODES
    others = [kind for kind in kinds if kind.__module__ != errors.__name__]
    assert all(kind.__module__.startswith("mirrorprep.bench.") for kind in others)
    assert {kind.exit_code for kind in others} <= {1, *_CODES.values()}


def test_the_tree_is_drawn():
    assert all(name in (errors.__doc__ or "") for name in _CODES)


@pytest.mark.parametrize("kind", _all(MirrorPrepError))
def test_errors_survive_pickling(kind):
    copy = pickle.loads(pickle.dumps(kind("What.", remedy="Do.")))
    assert (type(copy), str(copy)) == (kind, "What. Do.")


def test_progress_parts_nest_and_cancel():
    seen: list[float] = []
    Progress(lambda _label, fraction: seen.append(fraction)).part(0.2, 0.4).part(0.5, 1.0).step("x", 0.5)
    assert seen == pytest.approx([0.35])
    with pytest.raises(errors.CancelledError, match="Cancelled during x"):
        Progress(cancelled=lambda: True).part(0, 1).step("x", 0.1)
