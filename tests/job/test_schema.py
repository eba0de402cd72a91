"""The schema says what the reader accepts; an independent validator judges."""

import tomllib

import pytest

from mirrorprep.job.jobfile import job_from, template
from mirrorprep.job.schema import job_schema

jsonschema = pytest.importorskip("jsonschema")
GOOD = {"job": {"code": "P-01", "purpose": "teaching", "human_data": False}, "scan": {"file": "head.ply"}}


def test_schema_is_a_schema_and_takes_a_good_job():
    jsonschema.Draft202012Validator.check_schema(job_schema())
    jsonschema.validate(GOOD, job_schema())
    jsonschema.validate(tomllib.loads(template(job_from(GOOD))), job_schema())


@pytest.mark.parametrize(
    "change",
    [{"mould": {"wall": 3}}, {"mould": {"wall_mm": 0.1}}, {"extra": {}}, {"plane": {"normal": [0, 1]}}],
)
def test_schema_refuses_what_the_reader_refuses(change):
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**GOOD, **change}, job_schema())


def test_clinical_purpose_is_not_in_the_schema():
    assert "clinical" not in job_schema()["properties"]["job"]["properties"]["purpose"]["enum"]
