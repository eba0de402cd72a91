"""The traveller's JSON twin: everything that stands on the sheet, for programs."""

import json
from typing import Any

from mirrorprep.handover.provenance import PRODUCED_BY
from mirrorprep.handover.traveller import (
    FORMAT,
    FORMAT_VERSION,
    TravellerData,
    picture_digest,
)
from mirrorprep.handover.view import Scene, SceneBody
from mirrorprep.solid.solid import Solid


def traveller_json(data: TravellerData) -> str:
    """Return the traveller as JSON text; pictures are named by their digests, shapes by their sizes.

    Numbers that are not finite become null, so that every reader takes the file.
    """
    record: dict[str, Any] = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "produced_by": PRODUCED_BY,
        "job_code": data.job_code,
        "purpose": data.purpose,
        "title": data.title,
        "verdict": {
            "state": str(data.verdict.state),
            "sentence": data.verdict.sentence,
            "reasons": list(data.verdict.reasons),
        },
        "cautions": list(data.cautions),
        "sections": [
            {
                "title": section.title,
                "lead": section.lead,
                "figures": [figure.as_dict() for figure in section.figures],
                "pictures": list(section.pictures),
            }
            for section in data.sections
        ],
        "checks": [_fields(check) for check in data.checks],
        "findings": [finding.as_dict() for finding in data.findings],
        "waivers": [_fields(waiver) for waiver in data.waivers],
        "steps": [_fields(step) for step in data.steps],
        "pictures": [
            {
                "name": picture.name,
                "caption": picture.caption,
                "description": picture.description,
                "sha256": picture_digest(picture),
            }
            for picture in data.pictures
        ],
        "view": None if data.scene is None else _scene(data.scene),
        "files": [_fields(file) for file in data.files],
        "settings": dict(data.settings),
        "versions": dict(data.versions),
        "sources": [_fields(source) for source in data.sources],
    }
    return json.dumps(_plain(record), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _fields(item: Any) -> dict[str, Any]:  # noqa: ANN401 - any of the traveller's flat records
    return {name: getattr(item, name) for name in item.__slots__}


def _scene(scene: Scene) -> dict[str, Any]:
    return {
        "bodies": [_body(body) for body in scene.bodies],
        "pull_direction": None if scene.pull_direction is None else list(scene.pull_direction),
        "plane": None if scene.plane is None else scene.plane.as_dict(),
    }


def _body(body: SceneBody) -> dict[str, Any]:
    mesh = body.mesh.mesh if isinstance(body.mesh, Solid) else body.mesh
    return {"name": body.name, "triangles": len(mesh.faces), "opens": body.opens, "maps": list(body.maps)}


def _plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return the value with tuples as lists, array scalars as numbers, and no infinities."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float):
        return value if value - value == 0.0 else None
    if value is None or isinstance(value, (bool, int, str)):
        return value
    return str(value)
