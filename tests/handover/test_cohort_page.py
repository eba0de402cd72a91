"""The cohort's page: what it counts, what it shows, and what it must escape."""

from mirrorprep import cautions
from mirrorprep.handover.cohort_page import CohortColumn, CohortRow, cohort_html

COLUMNS = (
    CohortColumn(name="volume_mm3", heading="volume", unit="mm³", step=1.0),
    CohortColumn(name="asymmetry_rms_mm", heading="difference", unit="mm", step=0.001),
)
ROWS = [
    CohortRow(
        code="A-1", state="done", figures={"volume_mm3": 1234.5}, findings=("x",), traveller="A-1/t.html"
    ),
    CohortRow(code="A-2", state="failed", message="<script>", findings=("x", "y")),
    CohortRow(code="A-3", state="done", figures={"volume_mm3": 2000.0}, thumbnail=b"png"),
]


def test_page_counts_states_and_findings():
    page = cohort_html(ROWS, COLUMNS)
    assert "<dt>done</dt><dd>2</dd>" in page
    assert "<dt>failed</dt><dd>1</dd>" in page
    assert 'aria-label="67%"' in page
    assert '<td class="number">2</td>' in page
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
    assert '<td class="number">–</td>' in page


def test_what_ended_scans_is_gathered_by_finding():
    rows = [
        CohortRow(code="B-1", state="stopped", message="too-thin: at 3 mm", findings=("too-thin",)),
        CohortRow(code="B-2", state="stopped", message="too-thin: at 5 mm", findings=("too-thin",)),
        CohortRow(code="B-3", state="failed", message="It is empty."),
    ]
    page = cohort_html(rows, COLUMNS)
    assert '<td>too-thin</td><td class="number">2</td><td>B-1, B-2</td>' in page
    assert '<td>It is empty.</td><td class="number">1</td><td>B-3</td>' in page
    assert "Distributions" not in page


def test_figures_below_their_step_are_zero():
    rows = [CohortRow(code="C-1", state="done", figures={"volume_mm3": 5.6e-13})]
    page = cohort_html(rows, COLUMNS)
    assert "e-13" not in page
    assert '<td class="number">0</td>' in page
