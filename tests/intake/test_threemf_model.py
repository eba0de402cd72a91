"""A single 3MF model part."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.threemf_model import read_model


def test_model_part(samples):
    points, faces = samples.torus()
    text = samples.model_xml(
        f'<object id="5" type="surface">{samples.mesh_xml(points, faces)}</object>', '<item objectid="5"/>'
    )
    model = read_model([text.encode()[:100], text.encode()[100:]])
    vertices, triangles = model.objects["5"].mesh()
    assert model.objects["5"].kind == "surface"
    np.testing.assert_array_equal(vertices, points)
    np.testing.assert_array_equal(triangles, faces)
    assert [item.object_id for item in model.items] == ["5"]


@pytest.mark.parametrize("name", ["MAX_VERTICES", "MAX_TRIANGLES"])
def test_counts_are_limited_while_they_are_read(samples, monkeypatch, name):
    text = samples.model_xml(f'<object id="5">{samples.mesh_xml(*samples.torus())}</object>', "")
    monkeypatch.setattr(f"mirrorprep.intake.threemf_model.{name}", 50)
    monkeypatch.setattr("mirrorprep.intake.raw.MAX_TRIANGLES", 50)
    with pytest.raises(InputFileError, match="50"):
        read_model([text.encode()])


def test_other_elements_are_limited(samples, monkeypatch):
    monkeypatch.setattr("mirrorprep.intake.threemf_model.MAX_XML_TAGS", 50)
    shape = samples.mesh_xml(*samples.torus())
    assert read_model([samples.model_xml(f'<object id="5">{shape}</object>', "").encode()]).objects
    with pytest.raises(InputFileError, match="more than 50 elements"):
        read_model([samples.model_xml("<a/>" * 60, "").encode()])
