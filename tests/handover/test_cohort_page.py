"""The cohort's page: what it counts, what it shows, and what it must escape."""

import numpy as np

from mirrorprep import cautions
from mirrorprep.handover.cohort_page import CohortRow, cohort_html, histogram_svg

COLUMNS = {"volume_mm3": "volume, mm³", "asymmetry_rms_mm": "difference, mm"}
ROWS = [
    CohortRow(
        code="A-1", state="done", figures={"volume_mm3": 1234.5}, findings=("x",), traveller="A-1/t.html"
    ),
    CohortRow(code="A-2", state="failed", message="<script>", findings=("x", "y")),
    CohortRow(code="A-3", state="done", figures={"volume_mm3": 2000.0}, thumbnail=b"png"),
]


def test_page_counts_states_and_findings():
    page = cohort_html(ROWS, COLUMNS)
    assert '<th scope="row">done</th><td>2</td>' in page
    assert '<th scope="row">x</th><td>2</td><td>1</td>' in page
    assert 'href="A-1/t.html"' in page
    assert "data:image/png;base64," in page
    assert page.count(cautions.RESEARCH_ONLY) == 2


def test_page_escapes_and_runs_no_script():
    page = cohort_html(ROWS, COLUMNS)
    assert "<script" not in page
    assert "script-src 'none'" in page


def test_columns_without_a_value_are_left_out():
    page = cohort_html(ROWS, COLUMNS)
    assert "volume" in page
    assert "difference" not in page
    assert "unknown" in page


def test_histogram_holds_every_value():
    drawn = histogram_svg(np.array([0.0, 0.0, 1.0, 5.0]))
    assert drawn.count("<rect") == 3
    assert ">0<" in drawn
    assert ">5<" in drawn
