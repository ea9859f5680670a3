"""Every notebook in JupyterLab in a real Chromium: run from top to bottom, every slider moved by keyboard.

Without a Chromium these tests are skipped, and fail where the variable CI is set. Pictures go to out/screenshots.
One module on purpose: the browser's driver keeps an event loop for as long as it is open.
"""

import os
import re
import shutil
from pathlib import Path

import nbformat
import pytest
from axe_playwright_python.sync_playwright import Axe

from macrolib.show import panels
from macrolib.show.panel import every_panel
from tests.browser import lab
from tools import handouts

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
OUT = ROOT / "out" / "screenshots"
NOTEBOOKS = sorted(str(p.relative_to(ROOT / "notebooks")) for p in (ROOT / "notebooks").rglob("*.ipynb")
                   if not {"src", ".ipynb_checkpoints"} & set(p.relative_to(ROOT / "notebooks").parts))
ALL, KEYS, STORED, LIVE = "all-panels.ipynb", "keys.ipynb", "stored.ipynb", "live.ipynb"
_LIVE = """from macrolib import plan, read_rig, read_shot
from macrolib.planning.preview import Preview
from macrolib.planning.rehearsal import Rehearsal
from macrolib.show import live, playback
made = plan(read_shot("data/shots/wing-case.toml"), read_rig("data/rigs/field-belt.toml"), mends=False)
live.LiveHand(live.Hand(max_speed=0.02, max_acceleration=0.04, travel_per_control_turn=8e-3, start=0.04, end=0.1))""", \
    "live.RehearsalView(Rehearsal(made, faster=20))", "playback.Player(Preview(made, seconds=1.0))"
_KEEPS = """from pathlib import Path
from macrolib.show import panels
def keep(values, replace):
    if Path("kept.txt").exists() and not replace:
        raise FileExistsError("kept.txt exists already")
    Path("kept.txt").write_text(f"{values['travel_per_turn']:g}")
    return "Kept in kept.txt."
panels.microsteps.show(keep=keep)"""
_FRAIL = """from matplotlib.figure import Figure
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
def upside_down(length):
    return {"height": 1 / (length - 0.002)}
def picture():
    fig, ax = style.figure(2)
    line, = ax.plot([], [])
    style.axis(ax.xaxis, "length", "mm", (0, 10))
    style.axis(ax.yaxis, "height", "1/m", (0, 1e4))
    def update(result):
        line.set_data([0, 10], [0, result["height"]])
    return fig, [line], update
Panel(upside_down, "Upside down", [Slider("length", "length", "mm", 0, 10, 5)], picture,
      lambda r: f"The height is {r['height']:.3g} in all.", "A line.").show()"""


def _notebook(*cells):
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in cells])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return notebook


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with copies of all notebooks and of their data, and two made here; JupyterLab runs on it."""
    if lab.find_browser() is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no Chromium found; install the package chromium")
    folder = tmp_path_factory.mktemp("notebooks")
    if NOTEBOOKS:
        shutil.copytree(ROOT / "notebooks", folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("src", ".ipynb_checkpoints"))
    first = "from macrolib.show.panel import every_panel\nfound = every_panel()"
    nbformat.write(_notebook(first, *(f"found[{name!r}].show()" for name in every_panel())), folder / ALL)
    nbformat.write(_notebook(_KEEPS, _FRAIL), folder / KEYS)
    nbformat.write(_notebook(*_LIVE), folder / LIVE)
    stored = _notebook("panels.trapezoid.show()")
    bundle = panels.trapezoid.show()._repr_mimebundle_()[0]
    data = {kind: bundle[kind] for kind in ("text/plain", "text/html")}  # what the build keeps
    stored.cells[0].outputs = [nbformat.v4.new_output("execute_result", data, execution_count=1)]
    nbformat.write(stored, folder / STORED)
    return folder


@pytest.fixture(scope="module")
def address(place, tmp_path_factory):
    with lab.server(place, tmp_path_factory.mktemp("jupyter")) as found:
        yield found


@pytest.fixture(scope="module")
def browser(address):
    with lab.chromium() as found:
        yield found


def _open(browser, address, name):
    sheet = lab.Sheet(browser, address, name)
    assert sheet.run_all() is True, f"{name}: a cell failed"
    return sheet


def _panels(sheet):
    """All panels of the page, drawn. A notebook's last output may come a moment after its last cell."""
    found = sheet.page.locator("section.macrolib-panel")
    for i in range(found.count()):
        found.nth(i).locator("img[src^=blob]").wait_for()
    return [found.nth(i) for i in range(found.count())]


def _settled(sheet, panel):
    """Wait until the picture belongs to what was asked last; then (sentence, picture address)."""
    sheet.page.wait_for_function("p => p.dataset.count === (p.dataset.asked ?? '0') && p.querySelector('img').complete",
                                 arg=panel.element_handle())
    return panel.locator(".sentence").inner_text(), panel.locator("img").get_attribute("src")


def _move_every_slider(sheet, panel):
    sliders = panel.get_by_role("slider")
    for i in range(sliders.count()):
        slider = sliders.nth(i)
        slider.focus()
        seen = []
        for key in ("Home", "End"):
            sheet.page.keyboard.press(key)
            seen.append((*_settled(sheet, panel), slider.get_attribute("aria-valuetext")))
        name = slider.evaluate("e => e.labels[0].innerText")
        assert all(a != b for a, b in zip(*seen)), f"{name}: sentence, picture and value should differ between the ends: {seen}"
        assert panel.locator(".status").inner_text() == "", f"{name}: {panel.locator('.status').inner_text()}"
        panel.get_by_role("button", name="Back to the start values").click()
        _settled(sheet, panel)


def accessibility_faults(page, part=None):
    """What a well-kept checker of accessibility rules finds (names, roles, contrast, headings): [(rule, places)]."""
    found = Axe().run(page, context=part).response
    assert found["passes"], "the checker looked at nothing"
    return [(v["id"], v["impact"], [node["html"][:200] for node in v["nodes"]]) for v in found["violations"]]


def _names_are_spoken(panel):
    """Each control has a name of its own; sliders and boxes name their unit."""
    tree = panel.aria_snapshot()
    controls = re.findall(r"- (slider|textbox|button|checkbox|img)(?: \"((?:[^\"\\]|\\.)*)\")?", tree)
    names = [name for _, name in controls]
    assert all(names) and len(set(names)) == len(names), tree
    assert all(re.search(r"\(.+\)", name) for role, name in controls if role in ("slider", "textbox")), tree
    assert [role for role, _ in controls].count("slider") == panel.get_by_role("slider").count() > 0


def _no_fault(sheet):
    assert sheet.kernel_errors() == []
    assert sheet.faults == []
    assert sheet.strangers == [], "the page asked other addresses than its own server"


# A narrow window, and what a window of 1280 x 900 shows at 200 %: half as many px, each twice as large.
WINDOWS = {"narrow": {"width": 480, "height": 900, "deviceScaleFactor": 1}, "zoomed": {"width": 640, "height": 450, "deviceScaleFactor": 2}}
RESIZED = [*[n for n in NOTEBOOKS if n.startswith("learn")], ALL, ALL][:2]
CONTENT = ".jp-RenderedMarkdown, .jp-OutputArea-output"  # ours; the rest of the page is JupyterLab's own
_tried = set()  # titles of the panels that a notebook has shown: the notebook of all panels tries the rest


def _fits(sheet, name, window):
    """In a small window no control leaves the page, none is hidden by another, and a slider still works."""
    page = sheet.page
    page.context.new_cdp_session(page).send("Emulation.setDeviceMetricsOverride", {**WINDOWS[window], "mobile": False})
    page.wait_for_function("w => window.innerWidth === w", arg=WINDOWS[window]["width"])
    for panel in _panels(sheet):
        panel.scroll_into_view_if_needed()
        assert panel.evaluate("p => p.scrollWidth <= p.clientWidth + 1"), f"{window}: the panel is wider than its place"
        right = panel.evaluate("p => p.closest('.jp-Notebook, .jp-WindowedPanel-outer').getBoundingClientRect().right")
        edges = panel.evaluate("p => [...p.querySelectorAll('input, button, img, p, span')]"
                               ".map(e => e.getBoundingClientRect()).map(e => [e.left, e.right])")
        assert all(0 <= a and b <= right + 1 for a, b in edges), f"{window}: a control lies outside the page"
        panel.get_by_role("slider").first.focus()
        page.keyboard.press("Home")
        before = _settled(sheet, panel)
        page.keyboard.press("End")
        assert _settled(sheet, panel) != before
    page.screenshot(path=OUT / f"{Path(name).stem}-{window}.png")


@pytest.mark.parametrize("name", [*NOTEBOOKS, ALL])
def test_runs_and_every_slider_moves(browser, address, name):
    sheet = _open(browser, address, name)
    OUT.mkdir(parents=True, exist_ok=True)
    try:
        for number, panel in enumerate(_panels(sheet)):
            if name == ALL and panel.get_attribute("aria-label") in _tried:
                continue
            _tried.add(panel.get_attribute("aria-label"))
            _names_are_spoken(panel)
            _move_every_slider(sheet, panel)
            title = re.sub(r"\W+", "-", panel.get_attribute("aria-label").lower()).strip("-")
            panel.screenshot(path=OUT / f"{Path(name).stem}-{number + 1}-{title}.png")
        if name.startswith("learn"):
            assert accessibility_faults(sheet.page, CONTENT) == []
        if name in RESIZED:
            sheet.page.evaluate("() => window.jupyterapp.commands.execute('application:toggle-left-area')")
            sheet.page.locator(".jp-FileBrowser").wait_for(state="hidden")
            for window in WINDOWS:
                _fits(sheet, name, window)
        _no_fault(sheet)
    finally:
        sheet.close()


def test_keyboard_alone_is_enough(browser, address, place):
    """Tab order, typed values with units, refusals in words, keeping values, and no notebook shortcut on the way."""
    sheet = _open(browser, address, KEYS)
    keys = sheet.page.keyboard
    try:
        panel, frail = _panels(sheet)
        cells = sheet.page.locator(".jp-Cell").count()
        first = panel.get_by_role("slider").first
        first.focus()
        order = []
        for _ in range(20):  # nine sliders, eight of them with a box: a choice with names has none
            order.append(sheet.page.evaluate("() => document.activeElement.ariaLabel ?? document.activeElement.labels?.[0]?.innerText"
                                             " ?? document.activeElement.innerText"))
            keys.press("Tab")
        assert len(set(order)) == 20 and order[:2] == ["microsteps (-)", "microsteps (-): type a value"], order
        assert order[17:] == ["Back to the start values", "Keep these values", "replace the file if it exists"], order
        first.focus()
        for key in ("d", "d", "x", "a", "b"):  # in a notebook they delete, cut and insert cells
            keys.press(key)
        assert sheet.page.locator(".jp-Cell").count() == cells

        box, status = panel.get_by_label("travel per turn (mm): type a value"), panel.locator(".status")
        for typed, value, words in (("2.54", "2.54", ""), ("1500 um", "1.5", ""), ("2,5", "1.5", "write a point"),
                                    ("900", "1.5", "0.5 mm to 60 mm"), ("5 kg", "1.5", "no unit for this"), ("4", "4", "")):
            box.fill(typed)
            keys.press("Enter")
            _settled(sheet, panel)
            assert box.input_value() == value and words in status.inner_text(), (typed, box.input_value(), status.inner_text())
            assert bool(words) == bool(status.inner_text())

        keep = panel.get_by_role("button", name="Keep these values")
        for expected in ("Kept in kept.txt.", "Not kept. kept.txt exists already", "Kept in kept.txt."):
            if status.inner_text().startswith("Not kept"):
                panel.get_by_role("checkbox").focus()
                keys.press("Space")
            keep.focus()
            keys.press("Enter")
            status.filter(has_text=re.compile(f"^{re.escape(expected)}$")).wait_for()
        assert (place / "kept.txt").read_text() == "0.004"
        _a_failing_function_is_seen(sheet, frail)
        _no_fault(sheet)
    finally:
        sheet.close()


def _a_failing_function_is_seen(sheet, frail):
    """A division by zero at 2 mm: said in words, picture dimmed; the next good value repairs it."""
    box = frail.get_by_label("length (mm): type a value")
    for typed, seen in (("2", "ZeroDivisionError"), ("3", "")):
        box.fill(typed)
        sheet.page.keyboard.press("Enter")
        _settled(sheet, frail)
        assert seen in frail.locator(".status").inner_text()
        assert bool(seen) == bool(frail.locator("img.stale").count())
        assert ("No result" in frail.locator(".sentence").inner_text()) == bool(seen)


def test_a_stored_panel_is_seen_without_running(browser, address):
    sheet = lab.Sheet(browser, address, STORED)
    try:
        picture = sheet.page.get_by_alt_text(re.compile("^A move with constant acceleration.*the cruise .* lasts 1.5 s"))
        picture.wait_for()
        assert picture.evaluate("i => i.complete && i.naturalWidth > 500")
        assert sheet.page.get_by_text("The sliders need a running kernel").count() == 1
        assert sheet.faults == sheet.strangers == []
    finally:
        sheet.close()


def test_live_panels_run_when_asked_and_only_then(browser, address):
    """The hand-led carriage by keyboard, a rehearsal stopped and resumed, a preview that plays once; names for all controls."""
    sheet = _open(browser, address, LIVE)
    page = sheet.page
    try:
        panels = page.locator("div.macrolib-panel")
        panels.nth(2).locator("img[src^=blob]").wait_for()
        hand, rehearsal, player = (panels.nth(i) for i in range(3))
        for panel in (hand, rehearsal, player):
            names = re.findall(r'- (?:slider|button|img|progressbar|\'img)(?: "((?:[^"\\]|\\.)*)")?', panel.aria_snapshot())
            assert names and all(names) and len(set(names)) == len(names), panel.aria_snapshot()
        still = player.locator("img").get_attribute("src")
        page.wait_for_timeout(1500)
        assert hand.get_attribute("data-updates") is None and rehearsal.locator("progress").get_attribute("value") == "0"
        assert player.locator("img").get_attribute("src") == still and "Not playing." in player.inner_text()

        control = hand.get_by_role("slider")
        control.focus()
        for _ in range(6):
            page.keyboard.press("PageUp")
        hand.get_by_text(re.compile("^At rest.*Set-point (?!40 mm).*: 0 mm behind")).wait_for(state="attached")
        assert re.fullmatch(r"\d\.\d\d turns", control.get_attribute("aria-valuetext")) and int(hand.get_attribute("data-updates")) > 3
        hand.get_by_role("button", name="Back to the start mark").click()
        hand.get_by_text(re.compile("^Set-point 40 mm, carriage 40 mm")).wait_for()

        rehearsal.get_by_role("button", name="Start").click()
        page.wait_for_function("p => p.querySelector('progress').value > 0.02", arg=rehearsal.element_handle())
        rehearsal.get_by_role("button", name="Stop").click()
        page.wait_for_timeout(400)
        share = float(rehearsal.get_attribute("data-share"))
        page.wait_for_timeout(600)
        assert float(rehearsal.get_attribute("data-share")) == share > 0
        rehearsal.get_by_role("button", name="Start").click()
        page.wait_for_function("([p, share]) => p.querySelector('progress').value > share", arg=[rehearsal.element_handle(), share])
        rehearsal.get_by_role("button", name="Back to the beginning").click()
        page.wait_for_function("p => p.querySelector('progress').value === 0", arg=rehearsal.element_handle())

        player.get_by_role("button", name=re.compile("Play once")).click()
        player.get_by_text("Playing once.").wait_for()
        assert player.locator("img").get_attribute("src") != still
        player.get_by_text("Not playing.").wait_for()
        OUT.mkdir(parents=True, exist_ok=True)
        for name, panel in zip(("hand", "rehearsal", "player"), (hand, rehearsal, player)):
            panel.screenshot(path=OUT / f"live-{name}.png")
        _no_fault(sheet)
    finally:
        sheet.close()


def test_handouts_keep_the_accessibility_rules(browser, tmp_path):
    """Every printed lesson, in a wide and in a narrow window; a page with faults is found to have them."""
    context = browser.new_context(bypass_csp=True)  # the pages forbid scripts, the checker is one
    page = context.new_page()
    try:
        for path in handouts.write_handouts(tmp_path):
            page.goto(path.as_uri())
            for width in (1280, 480):
                page.set_viewport_size({"width": width, "height": 900})
                assert accessibility_faults(page) == [], (path.name, width)
        page.set_content('<html lang="en"><title>x</title><main><h1>x</h1><img src="data:,"><p style="color:#bbb">pale</p></main></html>')
        assert {rule for rule, *_ in accessibility_faults(page)} == {"image-alt", "color-contrast"}
    finally:
        context.close()
