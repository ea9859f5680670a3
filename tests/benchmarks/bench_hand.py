"""Updates a second of the live hand-led carriage in JupyterLab and Chromium, while a mouse drags its control.

    python tests/benchmarks/bench_hand.py [seconds of dragging, default 4]

Aim: 20 or more a second. An update is an answer of the kernel that is drawn in the page; "painted" counts the animation
frames in which the carriage or the set-point stood somewhere new.
"""

import os
import sys
import tempfile
from pathlib import Path

import nbformat
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.table import row  # noqa: E402
from tests.browser import lab  # noqa: E402

AIM = 20
_CELL = """from macrolib.show import live
live.LiveHand(live.Hand(max_speed=0.02, max_acceleration=0.04, travel_per_control_turn=8e-3, start=0.04, end=0.1, overrun=3e-3))"""
_WATCH = """panel => {
  window.updates = []; window.painted = []; let last = '';
  new MutationObserver(() => window.updates.push(performance.now()))
    .observe(panel, { attributes: true, attributeFilter: ['data-updates'] });
  const shapes = panel.querySelectorAll('svg path');
  const look = () => {
    const now = [...shapes].map(s => s.getAttribute('transform')).join();
    if (now !== last) window.painted.push(performance.now());
    last = now;
    requestAnimationFrame(look);
  };
  look();
}"""


def _drag(page, slider, seconds):
    box = slider.bounding_box()
    y, steps = box["y"] + box["height"] / 2, round(seconds / 0.03)
    page.mouse.move(box["x"] + 0.1 * box["width"], y)
    page.mouse.down()
    page.evaluate("() => { window.updates = []; window.painted = []; }")
    for i in range(steps):  # there and back, like a hand
        page.mouse.move(box["x"] + box["width"] * (0.5 - 0.4 * np.cos(2 * np.pi * i / steps)), y)
        page.wait_for_timeout(30)
    page.mouse.up()
    return page.evaluate("() => [window.updates, window.painted]")


def main(seconds=4):
    if lab.find_browser() is None:
        print("no Chromium found: nothing was measured")
        return
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(_CELL)])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as work:
        nbformat.write(notebook, Path(folder) / "hand.ipynb")
        with lab.server(folder, work) as address, lab.chromium() as browser:
            sheet = lab.Sheet(browser, address, "hand.ipynb")
            assert sheet.run_all() is True
            panel = sheet.page.locator("div.macrolib-panel")
            panel.wait_for()
            panel.evaluate(_WATCH)
            print(f"a hand that drags for {seconds} s; load average {os.getloadavg()[0]:.1f}; aim {AIM} a second")
            for what, times in zip(("updates", "painted"), _drag(sheet.page, panel.get_by_role("slider"), seconds)):
                gaps = np.diff(times)
                row(f"live hand-led carriage, {what}", len(gaps) / gaps.sum() * 1e3, AIM, "1/s", least=True)
                print(f"  gap median {np.median(gaps):.0f} ms, 95 % {np.percentile(gaps, 95):.0f} ms")
            sheet.close()


if __name__ == "__main__":
    main(*map(float, sys.argv[1:2]))
