"""The table of true values and the small files that ship with the package."""

import json
from pathlib import Path
from typing import Final

from demo_shapes.animal import animal
from demo_shapes.head import ear, phantom_head
from demo_shapes.plain import PLAIN_NAMES, plain
from demo_shapes.truth import TrueValues
from mirrorprep.solid.mesh import ScanMesh

FILES: Final = Path(__file__).parent / "files"
"""Folder of the small files."""

TABLE: Final = FILES / "true_values.json"
"""The table of true values."""

_DIGITS = 6


def small_shapes() -> dict[str, ScanMesh]:
    """Return the meshes of the small files by file stem."""
    return {
        "head-small": phantom_head("small").scan,
        "ear-small": ear("small").solid.mesh,
        "animal-small": animal("small").solid.mesh,
    }


def organic_values(detail: str) -> list[TrueValues]:
    """Return the true values of head, ear and animal at one level of detail."""
    return [phantom_head(detail).true_values, ear(detail).true_values, animal(detail).true_values]


def table_text() -> str:
    """Return the table of true values as JSON, numbers to 1e-6."""
    organic = [entry.as_dict() for detail in ("full", "small") for entry in organic_values(detail)]
    closed_forms = []
    for name in PLAIN_NAMES:
        shape = plain(name)
        closed_forms.append(
            {
                "name": name,
                "volume_mm3": shape.volume_mm3,
                "area_mm2": shape.area_mm2,
                "formula": shape.formula,
            }
        )
    table = {"units": "mm", "organic": organic, "plain": closed_forms}
    return json.dumps(_rounded(table), indent=1, ensure_ascii=False) + "\n"


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return round(value, _DIGITS)
    if isinstance(value, dict):
        return {key: _rounded(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(entry) for entry in value]
    return value
