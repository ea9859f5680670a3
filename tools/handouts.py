"""Lessons as pages to print: out/handouts/NAME.html and index.html, from the stored notebooks, for readers without a kernel.

    python -m tools.handouts [FOLDER] [--replace]

Each panel is shown at its stored settings and at the two others that notebooks/data/handouts.toml names. What is folded in
the notebook stands at the end, with a link there and back; an exercise leaves a line for the answer. No scripts, no network.
"""

import argparse
import html
import re
import sys
import tomllib
from pathlib import Path

import nbformat

from macrolib.files import write_whole
from macrolib.show.panel import every_panel
from tools.build import NOTEBOOKS, PROSE
from tools.report import page, show_cell, show_markdown

LESSONS = NOTEBOOKS / "learn"
ALTERNATIVES = NOTEBOOKS / "data" / "handouts.toml"
_NOTE = ("A lesson to read or print. Numbers and pictures are those of a stored run. Where the notebook has sliders, three settings "
         "are shown; what it folds away stands at the end. To move the sliders, open the notebook in JupyterLab.")
_FOLDED = re.compile(r"<details><summary>(?P<title>.*?)</summary>(?P<body>.*?)</details>", re.S)
_LINK = re.compile(r"(?<!!)\[(?P<text>[^\]]+)\]\((?P<address>[^)#]+\.ipynb)(?P<place>#[^)]*)?\)")
_SHOWN = re.compile(r"Shown at: (?P<values>.*)\. The sliders need a running kernel\.")
_LINE = '<p class="answer-line">Your answer: <span aria-hidden="true">______________________________</span></p>'


def alternatives():
    """{lesson: [{slider: text}, ...]} of notebooks/data/handouts.toml."""
    return {name: table["settings"] for name, table in tomllib.loads(ALTERNATIVES.read_text(encoding="utf-8")).items()}


def stored_panel(output):
    """(panel, numbers of its sliders) that a stored output shows; None for any other output."""
    data = output.get("data", {})
    found = _SHOWN.search(html.unescape(data.get("text/html", "")))
    if not found:
        return None
    panel = next(p for p in every_panel().values() if data["text/plain"].startswith(f"{p.title}. "))
    texts = re.fullmatch("; ".join(f"{re.escape(s.label)} (.+)" for s in panel.sliders), found["values"])
    return panel, {s.name: s.read(text) for s, text in zip(panel.sliders, texts.groups())}


def _figures(panel, numbers, changes):
    """The panel at the stored settings, then with each of the changes."""
    parts = []
    for number, change in enumerate([{}, *changes], 1):
        asked = {s.name: s.read(change[s.name]) for s in panel.sliders if s.name in change}
        if unknown := set(change) - set(asked):
            raise ValueError(f"{ALTERNATIVES.name}: {panel.title!r} has no slider {', '.join(sorted(unknown))}")
        moved = ", ".join(f"{s.label} {s.text(asked[s.name])}" for s in panel.sliders if s.name in asked)
        result = panel.result(numbers | asked)
        picture = panel.still(**panel.si(numbers | asked))
        words = html.escape(f"{number}. {f'Changed: {moved}.' if moved else 'As stored.'} {panel.sentence(result)}")
        parts.append(f"<figure>{picture.html}<figcaption>{words}</figcaption></figure>")
    return "\n".join(parts)


def _linked(text, lessons):
    """Links to other lessons lead to their pages; links to other notebooks become their names."""
    def other(found):
        name = Path(found["address"]).stem
        return f"[{found['text']}]({name}.html{found['place'] or ''})" if name in lessons else f"{found['text']} (notebook `{name}`)"
    return _LINK.sub(other, text)


class Handout:
    """The page of one lesson: `html`, `title`, `minutes`."""

    def __init__(self, path, lessons, changes):
        self.notebook, self.name, self._lessons, self._changes = nbformat.read(path, 4), path.stem, lessons, changes
        self._answers = []
        first = self.notebook.cells[0].source
        self.title = re.search(r"^# (.+)$", first, re.M)[1]
        self.minutes = re.search(r"Estimated time: (.+?)\.", PROSE.sub("", first))[1]
        body = "\n".join(self._cell(cell, number) for number, cell in enumerate(self.notebook.cells, 1))
        self.html = page(self.title, _NOTE, f"{body}\n{self._ending()}")

    def _cell(self, cell, number):
        if cell.cell_type == "markdown":
            return show_markdown(_linked(_FOLDED.sub(self._put_last, cell.source), self._lessons))
        if "exercise" in cell.metadata.get("tags", []):
            return f"<pre>{html.escape(cell.source)}</pre>\n{_LINE}"
        live = next(filter(None, map(stored_panel, cell.outputs)), None)
        return _figures(*live, self._changes) if live else show_cell(cell, number)

    def _put_last(self, found):
        self._answers.append((found["title"], found["body"]))
        n = len(self._answers)
        return f'\n<p id="from-{n}"><a href="#answer-{n}">{found["title"]}: at the end, number {n}</a></p>\n'

    def _ending(self):
        parts = ['<h2 class="new-page">Explanations and solutions</h2>'] if self._answers else []
        for n, (title, body) in enumerate(self._answers, 1):
            parts.append(f'<h3 id="answer-{n}">{n}. {title}</h3>\n{show_markdown(_linked(body, self._lessons))}\n'
                         f'<p><a href="#from-{n}">Back to the question of number {n}</a></p>')
        return "\n".join(parts)


def _index(handouts):
    rows = "".join(f'<tr><td><a href="{h.name}.html">{html.escape(h.title)}</a></td><td>{html.escape(h.minutes)}</td></tr>'
                   for h in handouts)
    body = f"<h1>Lessons to print</h1>\n<table><tr><th>lesson</th><th>estimated time</th></tr>{rows}</table>"
    return page("Lessons to print", _NOTE, body)


def write_handouts(folder, replace=False, only=None):
    """Write a page for each lesson, or for those named in `only`, and an index; returns the paths."""
    folder, changes = Path(folder), alternatives()
    if not replace and (folder / "index.html").exists():
        raise FileExistsError(f"{folder / 'index.html'} exists already; it was not replaced.")
    paths = sorted(LESSONS.glob("*.ipynb"))
    names = {p.stem for p in paths}
    handouts = [Handout(p, names, changes.get(p.stem, [])) for p in paths if only is None or p.stem in only]
    pages = {f"{h.name}.html": h.html for h in handouts} | {"index.html": _index(handouts)}
    folder.mkdir(parents=True, exist_ok=True)
    return [write_whole(folder / name, text, replace=replace) for name, text in pages.items()]


def main(arguments=None):
    """Command line: the folder, and whether pages in it may be replaced."""
    parser = argparse.ArgumentParser(prog="python -m tools.handouts", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path("out/handouts"))
    parser.add_argument("--replace", action="store_true", help="replace existing pages")
    given = parser.parse_args(arguments)
    try:
        written = write_handouts(given.folder, given.replace)
    except FileExistsError as fault:
        return f"{fault} Add --replace to write it anew."
    print(f"{len(written)} pages in {given.folder}; begin with {given.folder / 'index.html'}")


if __name__ == "__main__":
    sys.exit(main())
