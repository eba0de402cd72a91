"""The page in a real browser: the whole demonstration by clicks, and what must not go wrong on the way."""

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from mirrorprep.cautions import RESEARCH_ONLY
from mirrorprep.job.run import run_job
from mirrorprep.solid.primitives import sphere
from tests.bench.page_tools import Watched, bench_of, chromium, settled, until, watched

pytestmark = pytest.mark.slow
STEPS = ("scan", "condition", "plane", "mirror", "seat", "measure", "parting", "mould", "pour", "handover")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


def take_small_head(page: Any) -> None:
    """Click for the invented head; the request asks for its small form."""
    page.route("**/api/demo", lambda route: route.continue_(post_data=json.dumps({"detail": "small"})))
    page.click("#take-demo")
    until(page, "bench.store.state.job.scan?.file === 'head.ply' && !bench.store.state.running")
    page.wait_for_selector("#scan-units")


def walk(page: Any, step: str) -> None:
    """Run the step that is shown and wait until its bodies are in the view."""
    page.wait_for_selector(f"#path-{step}[aria-current=step]")
    if step != "parting":
        page.click("#main:has-text('Run this step')")
        until(page, f"bench.store.step('{step}').state === 'done' && !bench.store.state.running")
    settled(page)


def slide(page: Any, name: str, value: int) -> None:
    page.locator(f"#{name}").fill(str(value))
    page.wait_for_timeout(150)


def pixels(page: Any) -> bytes:
    found: bytes = page.locator("#canvas").screenshot()
    return found


def place_of(page: Any, body: str) -> list[float]:
    found: list[float] = page.evaluate(f"bench.stage.shown.get('{body}').mesh.position.toArray()")
    return found


def step_through(page: Any) -> None:
    """Walk from the scan to the files by the main button alone."""
    for number, step in enumerate(STEPS):
        if page.evaluate(f"bench.store.step('{step}').state") not in ("done", "left out"):
            walk(page, step)
        assert page.locator("#caution").inner_text() == RESEARCH_ONLY
        if step == "plane":
            assert "Clear" in page.locator("#plane-status").inner_text()
        if step == "parting":
            turn_the_pull(page)
        if step == "mould":
            look_at_mould(page)
        if step == "pour":
            look_at_pour(page)
        if number < len(STEPS) - 1:
            page.click("#main:has-text('Go on')")


def turn_the_pull(page: Any) -> None:
    """Undercut and trapped volume follow the slider and the dragged arrow; the search can be had back."""
    until(page, "bench.memory.parting.answers > 0 && bench.memory.parting.landscape && !!bench.pull")
    stated = "bench.store.value('mould.pull_direction')"
    trapped = page.locator("#pull-figures .main b").inner_text()
    answers = page.evaluate("bench.memory.parting.answers")
    page.locator("#pull-over").fill("80")
    until(page, f"{stated} !== null && bench.memory.parting.answers > {answers}")
    assert page.locator("#pull-figures .main b").inner_text() != trapped
    up = page.evaluate("bench.frame.top.toArray()")
    assert sum(a * b for a, b in zip(page.evaluate(stated), up, strict=True)) > 0.98
    before, place = page.evaluate(stated), page.evaluate("bench.pull.tip()")
    page.mouse.move(*place)
    page.mouse.down()
    page.mouse.move(place[0] + 60, place[1] + 25, steps=4)
    page.mouse.up()
    until(page, f"JSON.stringify({stated}) !== {json.dumps(json.dumps(before, separators=(',', ':')))}")
    assert page.evaluate(stated) != pytest.approx(before, abs=1e-3)
    page.click("#search-pull")
    until(page, f"{stated} === null")
    until(page, "document.querySelector('#search-pull') === null")


def look_at_mould(page: Any) -> None:
    """The slider moves the halves apart along the pull direction; cutting through changes the picture."""
    slide(page, "open-mould", 0)
    assert place_of(page, "half_a") == pytest.approx(
        page.evaluate("bench.stage.shown.get('half_a').home.toArray()"), abs=1e-6
    )
    before, picture = place_of(page, "half_a"), pixels(page)
    slide(page, "open-mould", 100)
    after = place_of(page, "half_a")
    pull = page.evaluate("bench.store.step('mould').figures.pull_direction")
    moved = [b - a for a, b in zip(before, after, strict=True)]
    way = sum(value**2 for value in moved) ** 0.5
    assert way > 10
    assert moved == pytest.approx([way * value for value in pull], abs=1e-3)
    assert pixels(page) != picture
    slide(page, "open-mould", 0)
    whole = pixels(page)
    slide(page, "cut", 50)
    assert pixels(page) != whole
    assert "holds" in page.locator("#proof").inner_text()
    slide(page, "cut", 0)


def look_at_pour(page: Any) -> None:
    """The level follows the slider, in volume and in the picture."""
    page.wait_for_selector("#level")
    full, picture = page.locator("output[for=level]").inner_text(), pixels(page)
    slide(page, "level", 30)
    assert page.locator("output[for=level]").inner_text() != full
    assert pixels(page) != picture
    assert page.locator("#pour-cautions li").count() >= 2


def test_whole_demo_by_clicks(browser: Any, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    with bench_of(folder) as address, watched(browser, address) as seen:
        page = seen.page
        take_small_head(page)
        step_through(page)
        page.wait_for_selector("#open-traveller")
        with page.expect_download() as got:
            page.click("a[download='mould.3mf']")
        assert Path(got.value.path()).read_bytes() == (folder / "handover" / "mould.3mf").read_bytes()
        page.check("#tick-0")
        page.reload()
        page.wait_for_selector("#open-traveller")
        assert page.locator("#tick-0").is_checked()
        with page.context.expect_page() as opened:
            page.click("#open-traveller")
        sheet = opened.value
        sheet.wait_for_load_state()
        assert "DEMO-1" in sheet.locator("h1, header").first.inner_text() + sheet.title()
        seen.assert_quiet()
    run_job(folder / "job.toml", folder=tmp_path / "again").require_done()
    files = sorted(file.name for file in (folder / "handover").iterdir() if file.is_file())
    assert "half_a.stl" in files
    for name in files:
        assert (tmp_path / "again" / name).read_bytes() == (folder / "handover" / name).read_bytes(), name


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with bench_of(tmp_path_factory.mktemp("bench") / "job") as found:
        yield found


@pytest.fixture(scope="module")
def with_plane(browser: Any, address: str) -> str:
    """A bench whose job has gone as far as the mirror plane."""
    with watched(browser, address) as seen:
        page = seen.page
        take_small_head(page)
        page.click("#path-plane")
        page.click("#main:has-text('Run this step')")
        until(page, "bench.store.step('plane').state === 'done' && !bench.store.state.running")
    return address


@pytest.fixture
def at_plane(browser: Any, with_plane: str) -> Iterator[Watched]:
    with watched(browser, f"{with_plane}#plane") as seen:
        settled(seen.page)
        yield seen


def test_picks_lie_on_the_scan_and_can_be_undone(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#landmarks > summary")
    page.click("#pick-pairs")
    box = page.locator("#canvas").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.click(middle[0] - 40, middle[1])
    assert "other side" in page.locator("#pick-status").inner_text()
    page.mouse.click(middle[0] + 40, middle[1])
    pair = page.evaluate("bench.memory.plane.landmarks.pairs[0]")
    assert 10 < sum((a - b) ** 2 for a, b in zip(*pair, strict=True)) ** 0.5 < 250
    page.click("#undo-mark")
    assert page.evaluate("bench.memory.plane.landmarks.pairs.length") == 0
    page.mouse.click(box["x"] + 8, box["y"] + box["height"] / 2)  # beside the head: nothing to pick
    assert page.evaluate("bench.memory.plane.landmarks.pairs.length") == 0
    at_plane.assert_quiet()


def test_a_pick_is_where_the_surface_is(at_plane: Watched) -> None:
    """A ray through the pixel, against the nearest vertex of the body itself: no further than an edge."""
    page = at_plane.page
    page.click("#landmarks > summary")
    page.click("#pick-midline")
    page.focus("#canvas")
    page.keyboard.press("Enter")
    gap = page.evaluate(
        """() => {
          const mm = bench.memory.plane.landmarks.midline[0];
          const { body } = bench.stage.shown.get('scan');
          const [c, p] = [body.header.center_mm, body.geometry.getAttribute('position').array];
          let best = Infinity;
          for (let i = 0; i < p.length; i += 3) {
            best = Math.min(best, Math.hypot(...[0, 1, 2].map((k) => p[i + k] + c[k] - mm[k])));
          }
          return best;
        }"""
    )
    assert gap < 6.0


def test_plane_is_moved_by_its_handle_and_by_figures(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#by-hand > summary")
    found = float(page.input_value("#plane-offset"))
    page.fill("#plane-offset", f"{found + 1.5:.3f}")
    page.click("#take-plane")
    until(page, "bench.store.state.job.plane?.normal != null")
    assert page.evaluate("bench.store.value('plane.offset_mm')") == pytest.approx(found + 1.5, abs=1e-3)
    assert page.evaluate("bench.store.step('plane').state") == "stale"
    page.click("#search-plane")
    until(page, "bench.store.value('plane.normal') === null && bench.store.step('plane').state === 'done'")
    at_plane.assert_quiet()


HANDLE = """() => {
  const { camera, canvas, world } = bench.stage;
  const held = world.children.find((child) => child.type === 'Object3D' && !child.children.length);
  const normal = held.position.clone().set(0, 0, 1).applyQuaternion(held.quaternion);
  const away = camera.position.distanceTo(held.position);
  const slope = 1.9 * Math.tan((Math.PI * camera.fov) / 360);
  const seen = camera.isOrthographicCamera ? camera.top - camera.bottom : away * slope;
  const screen = canvas.getBoundingClientRect();
  return [0.4, 0.8].map((share) => {
    const reach = (share * 1.1 * seen) / camera.zoom / 4;
    const at = held.position.clone().addScaledVector(normal, reach).project(camera);
    return [screen.left + ((at.x + 1) / 2) * screen.width, screen.top + ((1 - at.y) / 2) * screen.height];
  });
}"""


def test_plane_is_dragged_by_its_handle(at_plane: Watched) -> None:
    """Moved along its normal by the arrow: the offset follows, the normal stays; taking it writes the job."""
    page = at_plane.page
    page.click("#by-hand > summary")
    before = page.evaluate("bench.store.step('plane').figures")
    page.click("#hold-move")
    page.wait_for_timeout(200)
    grip, beyond = page.evaluate(HANDLE)
    page.mouse.move(*grip)
    page.mouse.down()
    page.mouse.move(*beyond, steps=8)
    page.mouse.up()
    draft = page.evaluate("bench.memory.plane.draft")
    assert draft["normal"] == pytest.approx(before["normal"], abs=1e-6)
    assert 2.0 < abs(draft["offset_mm"] - before["offset_mm"]) < 100.0
    page.click("#take-plane")
    until(page, "bench.store.state.job.plane?.normal != null")
    assert page.evaluate("bench.store.value('plane.offset_mm')") == pytest.approx(draft["offset_mm"])
    page.click("#search-plane")
    until(page, "bench.store.value('plane.normal') === null")
    at_plane.assert_quiet()


def test_a_runner_up_is_taken_and_left_again(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#look-runner-2")
    assert page.evaluate("bench.memory.plane.runner") == 1
    page.click("#runner-2")
    until(page, "bench.store.value('plane.choose') === 2")
    assert page.evaluate("bench.store.step('plane').state") == "stale"
    page.click("#runner-1")
    until(page, "bench.store.value('plane.choose') === 1 && bench.store.step('plane').state === 'done'")
    at_plane.assert_quiet()


def test_scans_are_dropped_on_their_fields(browser: Any, tmp_path: Path) -> None:
    """The scan, and for two scans the recipient beside it; another kind of file is refused in words."""
    data = list(holed(tmp_path / "dropped.obj").read_bytes())
    folder = tmp_path / "job"
    with bench_of(folder) as address, watched(browser, address) as seen:
        page = seen.page
        drop(page, "#drop-scan", "dropped.obj", data)
        until(page, "bench.store.value('scan.file') === 'scan.obj'")
        assert (folder / "scan.obj").read_bytes() == bytes(data)
        page.click("#path-seat")
        page.click("#entry-seating-seat")
        until(page, "bench.store.value('seating.seat') === true")
        page.click("#seat-two > summary")
        drop(page, "#drop-recipient", "other side.obj", data)
        until(page, "bench.store.value('seating.recipient') === 'recipient.obj'")
        drop(page, "#drop-recipient", "picture.png", [1, 2, 3])
        page.wait_for_selector(".sentence.stop")
        assert page.evaluate("bench.store.value('seating.recipient')") == "recipient.obj"
        seen.assert_quiet(allowed="status of 400")


def drop(page: Any, field: str, name: str, data: list[int]) -> None:
    """Drop a file on a field, as the browser would tell of it."""
    carried = page.evaluate_handle(
        """([name, data]) => {
          const carried = new DataTransfer();
          carried.items.add(new File([new Uint8Array(data)], name));
          return carried;
        }""",
        [name, data],
    )
    page.dispatch_event(field, "drop", {"dataTransfer": carried})


def test_wrong_value_is_refused_in_the_words_of_the_job_file(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#settings-button")
    page.click("#table-mould > summary")
    page.fill("#all-entry-mould-wall_mm", "0.01")
    page.keyboard.press("Tab")
    page.wait_for_selector("#settings .sentence.stop")
    assert "wall_mm" in page.locator("#settings .sentence.stop").inner_text()
    assert page.evaluate("bench.store.value('mould.wall_mm')") == 6.0
    until(page, "document.querySelector('#all-entry-mould-wall_mm').value === '6'")
    page.keyboard.press("Escape")
    at_plane.assert_quiet(allowed="status of 400")


def test_every_entry_of_the_job_file_is_within_reach(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#settings-button")
    schema = page.evaluate("bench.store.schema.tables")
    for table, told in schema.items():
        for key in told["entries"]:
            assert page.locator(f"#all-entry-{table}-{key}").count() == 1, f"{table}.{key}"


def test_second_page_sees_and_is_refused_on_a_stale_revision(browser: Any, at_plane: Watched) -> None:
    one = at_plane.page
    with watched(browser, one.url) as other:
        two = other.page
        one.evaluate("bench.change({'job.use': 'seen by both'})")
        until(two, "bench.store.value('job.use') === 'seen by both'")
        two.evaluate("bench.store.state.job_revision -= 1")
        two.evaluate("bench.change({'job.use': 'too late'})")
        two.wait_for_selector("#panel-foot .sentence.stop")
        assert two.evaluate("bench.store.value('job.use')") == "seen by both"
        assert one.evaluate("bench.store.value('job.use')") == "seen by both"
        other.assert_quiet(allowed="status of 409")


def test_quick_changes_follow_each_other_and_typing_is_not_lost(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#path-scan")
    page.evaluate("for (const mm of [0.2, 0.3, 0.4]) bench.change({'scan.accuracy_mm': mm})")
    page.focus("#entry-job-code")
    page.keyboard.press("End")
    page.keyboard.type("-HALF")
    until(page, "bench.store.value('scan.accuracy_mm') === 0.4")
    page.wait_for_timeout(200)
    assert page.input_value("#entry-job-code").endswith("-HALF")
    page.keyboard.press("Tab")
    until(page, "bench.store.value('job.code').endsWith('-HALF')")
    page.evaluate("bench.change({'scan.accuracy_mm': 0.1})")
    until(page, "bench.store.step('plane').state === 'done'")
    at_plane.assert_quiet()


def test_reload_in_the_middle_of_a_run_and_cancel(at_plane: Watched) -> None:
    page = at_plane.page
    page.click("#path-handover")
    page.click("#main:has-text('Run')")
    page.wait_for_selector("#cancel")
    page.reload()
    page.wait_for_selector("#path-handover[aria-current=step]")
    page.wait_for_selector("#cancel")
    page.click("#cancel")
    until(page, "!bench.store.state.running")
    assert page.evaluate("bench.store.step('plane').state") == "done"
    at_plane.assert_quiet()


def test_lost_connection_is_shown_and_mended(at_plane: Watched) -> None:
    page = at_plane.page
    page.context.set_offline(True)
    page.route("**/api/state**", lambda route: route.abort())
    page.evaluate("bench.change({'job.use': 'lost'})")
    page.wait_for_selector("#panel-foot .sentence.stop")
    until(page, "document.querySelector('#link').textContent.startsWith('No answer')", 40)
    page.unroute("**/api/state**")
    page.context.set_offline(False)
    until(page, "document.querySelector('#link').textContent === ''", 20)
    at_plane.assert_quiet(allowed="ERR_")


def test_keyboard_alone_walks_the_path_and_turns_the_view(at_plane: Watched) -> None:
    page = at_plane.page
    page.focus("#path-scan")
    page.keyboard.press("Enter")
    page.wait_for_selector("#path-scan[aria-current=step]")
    assert page.evaluate("document.activeElement.id") == "path-scan"
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id"))
    assert {"path-plane", "canvas", "entry-job-code", "entry-job-purpose", "main", "cut"} <= reached
    page.focus("#path-scan")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "path-condition"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.focus("#canvas")
    eye = page.evaluate("bench.stage.camera.position.toArray()")
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(100)
    assert page.evaluate("bench.stage.camera.position.toArray()") != pytest.approx(eye)


def test_words_are_legible() -> None:
    """Contrast of every colour of words on every ground they stand on, WCAG 2.1 (success criterion 1.4.3)."""
    from mirrorprep.bench.file_answers import PAGE

    css = (PAGE / "bench.css").read_text(encoding="utf-8")
    color = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))
    for words in ("ink", "faint", "clear", "caution", "stop", "note"):
        for ground in ("paper", "card"):
            assert contrast(color[words], color[ground]) >= 4.5, (words, ground)
    for words in ("ink", "faint"):
        assert contrast(color[words], color["desk"]) >= 4.5, (words, "desk")


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours after WCAG 2.1."""

    def light(name: str) -> float:
        parts = [int(name[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


NO_WEBGL = """const own = HTMLCanvasElement.prototype.getContext;
HTMLCanvasElement.prototype.getContext = function (kind, ...rest) {
  return kind.startsWith('webgl') ? null : own.call(this, kind, ...rest);
};"""


def test_page_works_without_three_dimensions(browser: Any, with_plane: str) -> None:
    with watched(browser, f"{with_plane}#plane", script=NO_WEBGL) as seen:
        assert "WebGL" in seen.page.locator("#view-note").inner_text()
        assert "Clear" in seen.page.locator("#plane-status").inner_text()
        seen.page.click("#path-parting")
        seen.page.wait_for_selector("#path-parting[aria-current=step]")
        seen.assert_quiet(allowed="WebGL")


def holed(path: Path) -> Path:
    """Write a ball with two holes; OBJ carries no unit."""
    mesh = sphere(40.0, segments=48).mesh
    middles = mesh.triangles.mean(axis=1)
    kept = [f for f, c in zip(mesh.faces, middles, strict=True) if c[0] < 37 and c[1] > -37]
    lines = [f"v {x:.5f} {y:.5f} {z:.5f}" for x, y, z in mesh.vertices * (1.0, 1.2, 1.4)]
    path.write_text("\n".join([*lines, *(f"f {a + 1} {b + 1} {c + 1}" for a, b, c in kept), ""]))
    return path


def test_own_scan_unit_consent_and_findings(browser: Any, tmp_path: Path) -> None:
    """A file given by the button; unit, person and consent are asked; a finding's click goes to its place."""
    folder = tmp_path / "job"
    with bench_of(folder) as address, watched(browser, address) as seen:
        page = seen.page
        page.set_input_files("#file-scan", str(holed(tmp_path / "a known name.obj")))
        page.wait_for_selector("#scan-units")
        assert "unit" in page.locator("#blocked").inner_text()
        page.select_option("#scan-units", "mm")
        page.fill("#entry-job-code", "BALL-1")
        page.keyboard.press("Tab")
        until(page, "bench.store.value('job.code') === 'BALL-1'")
        page.select_option("#entry-job-purpose", "teaching")
        until(page, "bench.store.value('job.purpose') === 'teaching'")
        page.click("#human-true")
        page.wait_for_selector("#consent")
        until(page, "document.querySelector('#panel-foot').textContent.includes('no consent')")
        page.click("#consent")
        walk(page, "scan")
        page.click("#main:has-text('Go on')")
        walk(page, "condition")
        page.click("#state-before")
        until(page, "bench.stage.shown.has('before')")
        page.click(".findings button:has-text('Show the place')")
        gap = page.evaluate(
            """() => {
              const at = bench.stage.controls.target.clone().add(bench.stage.origin).toArray();
              const places = bench.here().findings.flatMap((finding) => finding.where);
              return Math.min(...places.map((mm) => Math.hypot(...[0, 1, 2].map((k) => mm[k] - at[k]))));
            }"""
        )
        assert gap < 1e-3
        seen.assert_quiet()
    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    assert (job["scan"]["file"], job["scan"]["units"]) == ("scan.obj", "mm")
    assert "a known name" not in (folder / "job.toml").read_text(encoding="utf-8")
