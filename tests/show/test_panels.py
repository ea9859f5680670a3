"""Every panel that macrolib.show registers, found by itself: its function at the ends, its words, its picture."""

import inspect
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import numpy as np
import pytest
from matplotlib._pylab_helpers import Gcf
from nbclient import NotebookClient
from nbconvert import HTMLExporter

from macrolib import units
from macrolib.parts import catalogue
from macrolib.show import panel as panel_module
from macrolib.show import style
from macrolib.show.panel import PANELS, Drawing, Panel, Slider, every_panel, keep_in

every_panel()
NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


def settings(panel):
    """(name, numbers): start, each slider at both ends, all low, all high."""
    start = panel.start()
    yield "start", start
    for slider in panel.sliders:
        for end in (slider.low, slider.high):
            yield f"{slider.name} {end}", start | {slider.name: float(end)}
    yield "all low", {s.name: float(s.low) for s in panel.sliders}
    yield "all high", {s.name: float(s.high) for s in panel.sliders}


def faults(panel):
    """What is wrong with a panel, as a list of sentences."""
    found, seen, drawing = [], {}, Drawing(panel.picture)
    if set(inspect.signature(panel.function).parameters) != {s.name for s in panel.sliders}:
        found.append("slider names differ from the function's arguments")
    for name, numbers in settings(panel):
        begin = time.process_time()
        try:
            result = panel.result(numbers)
            drawing.draw(result)
        except Exception as fault:
            found.append(f"{name}: {type(fault).__name__}: {fault}")
            continue
        words = panel.sentence(result)
        if time.process_time() - begin > 2:
            found.append(f"{name}: takes longer than 2 s of computing")
        if not words or not panel.alt(result).startswith(panel.title) or re.search(r"\b(nan|inf|None)\b", words):
            found.append(f"{name}: {words!r} is no sentence")
        seen[name] = words, style.png(drawing.canvas)
    for slider in panel.sliders:
        ends = [seen.get(f"{slider.name} {end}") for end in (slider.low, slider.high)]
        if None not in ends and any(a == b for a, b in zip(*ends)):
            found.append(f"{slider.name}: sentence or picture is the same at both ends")
    if missing := style.without_unit(drawing.figure):
        found.append(f"axes without a unit: {missing}")
    if Gcf.get_all_fig_managers():
        found.append("a figure is left open")
    return found


@pytest.mark.parametrize("name", PANELS)
def test_panel(name):
    assert faults(PANELS[name]) == []


def test_at_least_the_five_panels_are_found():
    assert {"microsteps", "trapezoid", "depth_of_field", "stack", "traverse"} <= set(PANELS)


# --- the test can fail: a small panel, made well and made badly
def _double(length):
    return {"area": length**2, "length": length}


def _picture():
    fig, ax = style.figure(2)
    line, = ax.plot([], [])
    style.axis(ax.xaxis, "length", "mm", (0, 10))
    style.axis(ax.yaxis, "area", "m^2", (0, 1e-4))

    def update(result):
        line.set_data([0, result["length"] * 1e3], [0, result["area"]])
    return fig, [line], update


def _sentence(result):
    return f"The area is {result['area']:.3g} square metres."


@pytest.fixture
def make(monkeypatch):
    monkeypatch.setattr(panel_module, "PANELS", {})

    def made(function=_double, sliders=None, picture=_picture, sentence=_sentence):
        return Panel(function, "Area of a square", sliders or [Slider("length", "length", "mm", 0, 10, 5)], picture, sentence, "A line.")
    return made


def test_a_good_panel_has_no_faults(make):
    assert faults(make()) == []


def test_faults_are_found(make):
    def unlabelled():
        fig, moving, update = _picture()
        fig.axes[0].set_xlabel("length")
        return fig, moving, update
    assert "axes without a unit: ['length']" in faults(make(picture=unlabelled))
    assert "same at both ends" in str(faults(make(sentence=lambda r: "The area is some number.")))
    assert "ZeroDivisionError" in str(faults(make(lambda length: {"area": 1 / (length - 0.01), "length": length})))
    assert "no finite value for area" in str(faults(make(lambda length: {"area": np.array([1, np.inf]), "length": length})))
    assert "no finite value for result" in str(faults(make(lambda length: float("nan"))))


def test_sliders_that_do_not_fit_the_function_are_refused(make):
    with pytest.raises(TypeError, match="width"):
        make(sliders=[Slider("width", "width", "mm", 0, 10, 5)])
    for wrong in ({"unit": ""}, {"start": 11}, {"low": 0, "log": True}, {"choices": (1, 5)}, {"unit": "furlong"}):
        with pytest.raises(ValueError):
            Slider(**{"name": "length", "label": "length", "unit": "mm", "low": 0, "high": 10, "start": 5, **wrong})


# --- sliders
@pytest.mark.parametrize("slider", [s for p in PANELS.values() for s in p.sliders], ids=lambda s: s.name)
def test_positions(slider):
    positions = slider.positions
    assert positions == sorted(set(positions)) and len(positions) <= 110
    assert positions[0] == slider.low and positions[-1] == slider.high and slider.start in positions
    for position in positions:
        assert slider.read(position) == slider.read(f"{position:.12g}") == position


def test_typed_values():
    slider = Slider("travel", "travel per turn", "mm", 0.5, 60, 2, log=True)
    assert [slider.read(x) for x in ("2.54", "1500 um", 7, " 3 mm ", "0.05 m")] == [2.54, 1.5, 7, 3, 50]
    for wrong, hint in (("2,5", "write a point"), ("61", "0.5 mm to 60 mm"), ("5 kg", "no unit for this"), ("nan", "is not"),
                        ("", "does not begin"), ("__import__('os')", "does not begin")):
        with pytest.raises(ValueError, match=hint):
            slider.read(wrong)
    steps = Slider("microsteps", "microsteps", "1", 1, 4, 2, choices=(1, 2, 4))
    assert steps.read("4") == 4
    with pytest.raises(ValueError, match="one of 1, 2, 4"):
        steps.read("3")


# --- the live panel, without a browser
def _ask(view, **numbers):
    view.asked = {"count": view.asked["count"] + 1, "numbers": view.numbers | numbers}
    return view.shown


@pytest.mark.parametrize("name", PANELS)
def test_quick_drawing_equals_drawing_anew(name):
    panel, kept = PANELS[name], Drawing(PANELS[name].picture)
    for _, numbers in list(settings(panel))[-4:]:
        kept.draw(panel.result(numbers))
    fresh = Drawing(panel.picture)
    for numbers in (panel.start(), panel.start()):
        kept.draw(panel.result(numbers))
        fresh.draw(panel.result(numbers))
    assert style.png(kept.canvas) == style.png(fresh.canvas)


def test_values_move_picture_and_words(make):
    view = make().show(length="4 mm")
    first, picture = dict(view.shown), view.png
    assert first["sentence"] == "The area is 1.6e-05 square metres." and first["numbers"] == {"length": 4}
    assert _ask(view, length="0.005 m")["sentence"] == "The area is 2.5e-05 square metres."
    assert view.png != picture and view.shown["count"] == 1 and view.shown["status"] == ""


def test_refused_values_and_errors_are_said_and_repaired(make):
    view = make(lambda length: {"area": 1 / (length - 0.002), "length": length}).show()
    assert "0 mm to 10 mm" in _ask(view, length=12)["status"] and view.numbers == {"length": 5} and not view.shown["stale"]
    assert "ZeroDivisionError" in _ask(view, length=2)["status"] and view.shown["stale"]
    assert "No result" in view.shown["sentence"]
    assert _ask(view, length=3)["status"] == "" and not view.shown["stale"]


def test_a_panel_that_fails_at_its_start_fails_in_the_notebook(make):
    with pytest.raises(ValueError, match="no finite value"):
        make(lambda length: float("inf")).show()
    with pytest.raises(TypeError, match="no slider width"):
        make().show(width=1.0)


def test_bundle_for_stored_notebooks(make):
    view = make().show(length=0.004)
    first, second = (view._repr_mimebundle_()[0] for _ in range(2))
    assert first == second and "application/vnd.jupyter.widget-view+json" in first
    assert first["text/plain"] == "Area of a square. The area is 1.6e-05 square metres."
    assert re.search(r'<img alt="Area of a square. A line. The area is 1.6e-05', first["text/html"])
    assert "length 4 mm" in first["text/html"] and "running kernel" in first["text/html"]


@pytest.mark.slow
def test_a_stored_panel_survives_nbval_and_html_export(tmp_path):
    """Run, stored without its widget as the build does: nbval agrees, notices a changed number; the page shows picture and words."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("from macrolib.show import panels\npanels.stack.show()")])
    NotebookClient(notebook, timeout=120, kernel_name="python3", store_widget_state=False).execute()
    data = notebook.cells[0].outputs[0].data
    del data["application/vnd.jupyter.widget-view+json"]
    path = tmp_path / "stored.ipynb"
    for good, words in ((True, data["text/plain"]), (False, data["text/plain"].replace("92 frames", "93 frames"))):
        data["text/plain"] = words
        nbformat.write(notebook, path)
        command = [sys.executable, "-m", "pytest", "-q", "--nbval", "--nbval-current-env", "-p", "no:cacheprovider", str(path),
                   f"--nbval-sanitize-with={NOTEBOOKS.parent / 'tests' / 'nbval_sanitize.cfg'}", "-o", "filterwarnings=default"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True,
                              env={**os.environ, "PYTHONPATH": str(NOTEBOOKS.parent)})
        assert (done.returncode == 0) == good, done.stdout
    page, _ = HTMLExporter().from_notebook_node(notebook)
    assert re.search(r'<img alt="Frames of a stack against the aperture\.[^"]* 92 frames, [^"]*" [^>]*src="data:image/png', page)


def test_keeping_values(make):
    kept = []

    def keep(values, replace):
        kept.append((values, replace))
        if not replace:
            raise FileExistsError("rig.toml exists already")
        return "Kept in rig.toml."
    view = make().show(keep=keep)
    for replace, said in ((False, "Not kept. rig.toml exists already"), (True, "Kept in rig.toml.")):
        view._on_message(view, {"what": "keep", "replace": replace}, [])
        assert view.shown["status"] == said
    assert kept == [({"length": 0.005}, False), ({"length": 0.005}, True)]


def test_keeping_in_a_rig_file(tmp_path):
    from macrolib.rig import read_rig, write_rig

    rig = read_rig(NOTEBOOKS / "data" / "rigs" / "bench-screw.toml")
    keep = keep_in(tmp_path / "mine.toml", rig, write_rig,
                   {"microsteps": "driver.microsteps", "pulse_ceiling": "controller.pulse_ceiling"})
    panel = PANELS["microsteps"]
    values = panel.si(panel.start(microsteps=32.0, pulse_ceiling="30 kHz"))
    keep(values, False)
    mine = read_rig(tmp_path / "mine.toml")
    assert mine.driver.microsteps == 32 and mine.controller.pulse_ceiling == pytest.approx(30e3)
    with pytest.raises(FileExistsError):
        keep(values, False)
    assert "mine.toml" in keep(values, True)


# --- the prose of notebooks: limits and places that it quotes are those of the code
_TABLE = re.compile(r"^\| slider \| from \| to \|.*(?:\n\|.*)+", re.M)
_TASK = re.compile(r"\*\*([^*\n]+)\*\*[^.*\n]{0,40}?\b(?:to|at|from)\b[^.*\n]{0,20}?\*\*([^*\n]+)\*\*")


def prose_faults(text, panels):
    """What a notebook's text says of sliders that the code does not: tables of limits, and '**label** to **value**'."""
    tables = [p.limits() for p in PANELS.values()]
    found = [f"this table is none of Panel.limits():\n{table[0]}" for table in _TABLE.finditer(text) if table[0] not in tables]
    labels = {s.label: s for p in panels for s in p.sliders}
    for label, value in _TASK.findall(text):
        if label in labels:
            try:
                labels[label].read(value)
            except ValueError as fault:
                found.append(f"'{label}' to '{value}' cannot be set: {fault}")
    return found


def _used(source):
    return [p for n, p in PANELS.items() if re.search(rf"\b{n}\.(?:show|still)\(|PANELS\[.{n}.\]", source)]


@pytest.mark.parametrize("path", sorted(NOTEBOOKS.rglob("*.ipynb")), ids=lambda p: p.stem)
def test_prose_and_sliders_agree(path):
    cells = json.loads(path.read_text())["cells"]
    text, code = ("\n".join("".join(c["source"]) for c in cells if c["cell_type"] == kind) for kind in ("markdown", "code"))
    assert prose_faults(text, _used(code)) == []


def test_prose_faults_are_found():
    panel = PANELS["trapezoid"]
    assert prose_faults(f"Try it.\n\n{panel.limits()}\n\nSet **speed** to **10 mm/s**.", [panel]) == []
    assert len(prose_faults(panel.limits().replace("300 mm", "400 mm"), [])) == 1
    assert "cannot be set" in prose_faults("Move **distance** from 20 mm to **0.5 m**.", [panel])[0]
    assert _used("panels.trapezoid.show(speed='5 mm/s')") == [panel]


def test_panel_functions_against_numbers_worked_by_hand():
    drive = PANELS["microsteps"].result(PANELS["microsteps"].start())
    # 2 mm a turn in 200 x 16 pulses; 20 000 pulses a second; 3:1 on pixels of 4 um; half a pixel allowed.
    assert drive.travels[drive.chosen] == pytest.approx(0.625e-6)
    assert drive.speeds[drive.chosen] == pytest.approx(12.5e-3)
    assert (drive.pixels, drive.allowed) == pytest.approx((0.625 * 3 / 4, 0.5 * 4e-6 / 3))
    assert drive.least_ceiling == pytest.approx(5e-3 / (2e-6 / 3))
    assert drive.lags[drive.chosen] == pytest.approx(5e-3**2 / (2 * 40e-3))  # the way to stop from 5 mm/s with 40 mm/s^2
    # 256 microsteps reach 0.78125 mm/s: in 2 s the hand gains 8.4375 mm, and the way to stop comes on top
    assert drive.lags[-1] == pytest.approx(8.4375e-3 + 0.78125e-3**2 / (2 * 40e-3))
    move = PANELS["trapezoid"].result(PANELS["trapezoid"].start())
    assert (move.duration, move.ramp, move.cruise) == pytest.approx((2.5, 0.5, 1.5))  # 20 mm at 10 mm/s and 20 mm/s^2
    crossing = PANELS["traverse"].result(PANELS["traverse"].start())
    assert crossing.image_speed == pytest.approx(0.5e-3 * 1.2 / 4e-6 / 25) == pytest.approx(2 * crossing.blur)
    assert crossing.limit == pytest.approx(23.5e-3 / 1.2 / (168 / 25))


def test_the_drive_with_a_program_and_its_ripple():
    panel = PANELS["microsteps"]
    start, quick = (panel.result(panel.start(program=n)) for n in ("none: the pulse ceiling below", "8-bit, additions in an interrupt"))
    assert quick.ceiling == catalogue("controllers")["8-bit, additions in an interrupt"].pulse_ceiling and start.ceiling == 20e3
    assert quick.speeds == pytest.approx(start.speeds * quick.ceiling / 20e3) and "additions" in panel.sentence(quick)
    shaking = PANELS["motor_ripple"].result(PANELS["motor_ripple"].start(speed="5 mm/s"))
    assert start.ripples[start.chosen] == pytest.approx(shaking.extent)  # the same motor on the same screw
    half = panel.result(panel.start(travel_per_turn="4 mm", speed="10 mm/s"))
    assert half.ripples == pytest.approx(2 * start.ripples)  # the same turns, twice the travel
    coarse = panel.result(panel.start(travel_per_turn="10 mm"))
    assert (coarse.ripples > coarse.allowed).all() and "shakes with every setting" in panel.sentence(coarse)


def test_choices_with_names():
    slider = Slider("kind", "kind of wood", "1", 1, 3, 1, choices=(1, 2, 3), names=("oak", "ash", "elm"))
    assert [slider.text(x) for x in slider.positions] == ["oak", "ash", "elm"] and slider.read("ash") == slider.read(2) == 2
    with pytest.raises(ValueError, match="one of oak, ash, elm"):
        slider.read("4")
    with pytest.raises(ValueError, match="a name"):
        Slider("kind", "kind of wood", "1", 1, 3, 1, choices=(1, 2, 3), names=("oak", "ash"))


def test_units_of_sliders_are_known():
    for panel in PANELS.values():
        assert all(units.dimension(s.unit) is not None for s in panel.sliders)
