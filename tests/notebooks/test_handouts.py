"""Printed lessons: complete, without scripts or requests, with every link leading somewhere and every panel at three settings."""

import html
import re

import nbformat
import pytest

from macrolib.show.panel import every_panel
from tools import handouts

LESSONS = sorted(handouts.LESSONS.glob("*.ipynb"))
NAMES = {p.stem for p in LESSONS}


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("handouts")
    handouts.write_handouts(folder)
    return {p.name: p.read_text(encoding="utf-8") for p in folder.iterdir()}


def _panels(path):
    return [found for cell in nbformat.read(path, 4).cells for found in map(handouts.stored_panel, cell.get("outputs", [])) if found]


def test_there_is_a_page_for_each_lesson_and_an_index(pages):
    assert set(pages) == {"index.html", *(f"{name}.html" for name in NAMES)} and len(pages) > 10
    assert all(f'href="{name}.html"' in pages["index.html"] for name in NAMES)
    assert set(handouts.alternatives()) <= NAMES


def test_pages_ask_nothing_of_the_network_and_run_nothing(pages):
    for name, page in pages.items():
        assert not re.search(r"<script|\son\w+=|<link|@import|url\(", page), name
        assert all(src.startswith("data:") for src in re.findall(r'\ssrc="([^"]*)"', page)), name


def test_every_link_leads_somewhere(pages):
    for name, page in pages.items():
        for address in re.findall(r'href="([^"]*)"', page):
            target, _, place = address.partition("#")
            if not target.startswith("https://"):  # a source, named for the reader
                assert (target or name) in pages, (name, address)
                assert not place or f'id="{place}"' in pages[target or name], (name, address)


@pytest.mark.parametrize("path", LESSONS, ids=lambda p: p.stem)
def test_each_panel_stands_there_at_three_settings_with_its_numbers(path, pages):
    page = html.unescape(pages[f"{path.stem}.html"])
    changes = handouts.alternatives().get(path.stem, [])
    found = _panels(path)
    assert len(found) == 1 and len(changes) == 2
    for panel, numbers in found:
        words = [panel.sentence(panel.result(numbers | {s.name: s.read(c[s.name]) for s in panel.sliders if s.name in c}))
                 for c in [{}, *changes]]
        assert len(set(words)) == 3, "the settings should differ in what they show"
        assert all(w in page for w in words)


@pytest.mark.parametrize("path", LESSONS, ids=lambda p: p.stem)
def test_formulas_are_typeset_and_nothing_stays_folded(path, pages):
    page = pages[f"{path.stem}.html"]
    assert 'class="tex"' not in page, "a formula could not be converted"
    assert page.count("<details") == page.count('<details class="code"')
    folded = sum(c.source.count("<details>") for c in nbformat.read(path, 4).cells)
    assert folded > 3 and page.count('<h3 id="answer-') == folded == page.count('<p id="from-')
    assert page.index("Explanations and solutions</h2>") > page.index("What to remember</h2>")
    assert page.count('class="answer-line"') >= 2


def test_an_unknown_slider_and_an_existing_page_are_refused(tmp_path):
    panel = every_panel()["soft_bands"]
    with pytest.raises(ValueError, match="has no slider speed"):
        handouts._figures(panel, panel.start(), [{"speed": "1 mm/s"}])
    (tmp_path / "index.html").write_text("mine")
    with pytest.raises(FileExistsError):
        handouts.write_handouts(tmp_path, only={"10-tilt-and-distance"})
    assert (tmp_path / "index.html").read_text() == "mine"
    assert "--replace" in handouts.main([str(tmp_path)])
