import json

from mirrorprep import check
from mirrorprep.condition.report import CheckReport
from mirrorprep.solid.primitives import sphere


def test_plain_data_holds_every_field_and_survives_json():
    mesh = sphere(20.0).mesh
    report = check(mesh.with_geometry(mesh.vertices, mesh.faces[3:]))
    plain = report.as_dict()
    assert set(plain) == set(CheckReport.__slots__)
    again = json.loads(json.dumps(plain))
    assert again["holes"][0]["edges"] == report.holes[0].edges
    assert again["findings"][0]["code"] == report.findings[0].code
