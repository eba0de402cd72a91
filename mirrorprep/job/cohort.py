"""The summary of a cohort from its ledger: a table and a page."""

import csv
import io
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from mirrorprep.errors import MissingExtraError
from mirrorprep.handover.atomic import write_bytes, write_text
from mirrorprep.handover.cohort_page import CohortColumn, CohortRow, cohort_html
from mirrorprep.job.delivery import THUMBNAIL
from mirrorprep.job.ledger import Entry
from mirrorprep.job.worker import FIGURES

TABLE: Final = "cohort.csv"
TABLE_PARQUET: Final = "cohort.parquet"
PAGE: Final = "cohort.html"
COLUMNS: Final = (
    CohortColumn(name="asymmetry_rms_mm", heading="left-right difference", unit="mm", step=0.001),
    CohortColumn(name="volume_mm3", heading="volume", unit="mm³", step=1.0),
    CohortColumn(name="min_wall_mm", heading="thinnest wall", unit="mm", step=0.01),
    CohortColumn(name="trapped_mm3", heading="trapped by rigid halves", unit="mm³", step=0.1),
    CohortColumn(name="max_undercut_mm", heading="deepest undercut", unit="mm", step=0.01),
    CohortColumn(name="trapped_air_mm3", heading="trapped air", unit="mm³", step=0.1),
)


def write_summary(entries: Sequence[Entry], folder: Path) -> tuple[Path, Path]:
    """Write ``cohort.csv`` and ``cohort.html`` beside the ledger; both follow from it and may be replaced.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    rows = [_row(entry, folder) for entry in entries]
    page = cohort_html(rows, COLUMNS, title=f"Cohort of {len(rows)} scans")
    return (
        write_text(folder / TABLE, _table(entries), overwrite=True),
        write_text(folder / PAGE, page, overwrite=True),
    )


def parquet_library() -> Any:  # noqa: ANN401 - has no types
    """Return the library that writes Parquet files.

    Raises
    ------
    MissingExtraError
        If it is not installed.
    """
    try:
        return import_module("pyarrow"), import_module("pyarrow.parquet")
    except ImportError:
        raise MissingExtraError(
            "pyarrow is not installed.", remedy="pip install 'mirrorprep[parquet]'"
        ) from None


def write_parquet(entries: Sequence[Entry], folder: Path) -> Path:
    """Write ``cohort.parquet``: the table of ``cohort.csv`` with its types.

    Raises
    ------
    MissingExtraError
        If pyarrow is not installed.
    OutputError
        If the file cannot be written.
    """
    arrow, parquet = parquet_library()
    columns = {name: [row[place] for row in _rows(entries)] for place, name in enumerate(_COLUMN_NAMES)}
    sink = arrow.BufferOutputStream()
    parquet.write_table(arrow.table(columns), sink)
    return write_bytes(folder / TABLE_PARQUET, sink.getvalue().to_pybytes(), overwrite=True)


def _row(entry: Entry, folder: Path) -> CohortRow:
    traveller = folder / entry.code / "traveller.html"
    thumbnail = folder / entry.code / THUMBNAIL
    done = entry.state == "done"
    return CohortRow(
        code=entry.code,
        state=entry.state,
        message=entry.message,
        figures=entry.result.get("figures", {}),
        findings=tuple(entry.result.get("findings", ())),
        traveller=f"{entry.code}/traveller.html" if done and traveller.exists() else "",
        thumbnail=thumbnail.read_bytes() if done and thumbnail.exists() else b"",
    )


_COLUMN_NAMES: Final = ("code", "digest", "state", "exit_code", "message", *FIGURES, "findings")


def _rows(entries: Sequence[Entry]) -> Iterator[tuple[Any, ...]]:
    for entry in entries:
        figures = entry.result.get("figures", {})
        yield (
            entry.code,
            entry.digest,
            entry.state,
            entry.exit_code,
            entry.message,
            *(figures.get(name) for name in FIGURES),
            " ".join(entry.result.get("findings", ())),
        )


def _table(entries: Sequence[Entry]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMN_NAMES)
    writer.writerows(_rows(entries))
    return text.getvalue()
