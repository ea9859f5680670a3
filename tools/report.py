"""Runs a notebook and stores it as one HTML file that needs no network: text, formulas, pictures, numbers.

    python -m tools.report notebooks/design/plan-a-stack.ipynb out/report.html

Formulas become MathML, which browsers show by themselves. The page forbids itself every script and every request.
"""

import argparse
import html
import re
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import mistune
import nbformat
from latex2mathml.converter import convert

from macrolib.files import write_whole
from tools.build import PROSE, execute

_STYLE = """
:root { color-scheme: light; }
body { font: 1rem/1.5 system-ui, sans-serif; color: #1a1a1a; background: #fff; max-width: 60rem;
       margin: 0 auto; padding: 1rem; overflow-wrap: break-word; }
h1, h2, h3, h4 { line-height: 1.25; break-after: avoid; }
a { color: #0b4f8a; }
pre, code { font: 0.9rem/1.4 ui-monospace, monospace; }
pre { white-space: pre-wrap; background: #f4f4f2; padding: 0.6rem; border-left: 0.25rem solid #767676; }
img { max-width: 100%; height: auto; }
table { border-collapse: collapse; margin: 0.8rem 0; }
th, td { border: 1px solid #767676; padding: 0.25rem 0.6rem; text-align: left; vertical-align: top; }
th { background: #f0f0ee; }
summary { cursor: pointer; color: #444; }
.note { border: 1px solid #767676; padding: 0.4rem 0.8rem; }
.formula { overflow-x: auto; overflow-y: hidden; padding: 0.4rem 0; margin: 0.4rem 0; }
figure { margin: 0.8rem 0; break-inside: avoid; }
@page { size: A4; margin: 15mm; }
@media print {
  body { max-width: none; padding: 0; font-size: 10pt; }
  img, tr, pre, .formula { break-inside: avoid; }
  details.code { display: none; }
  .new-page { break-before: page; }
}
"""
_NOTE = ("A stored run: text, numbers and pictures are those of the run that wrote this page. "
         "Sliders need a running kernel: open the notebook in JupyterLab to move them.")
_WIDE = 80  # characters of TeX
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")
_ORDER = ("text/html", "text/markdown", "text/latex", "image/svg+xml", "image/png", "image/jpeg", "text/plain")


def mathml(tex, display="inline"):
    """TeX as MathML; what cannot be converted is shown as its TeX text."""
    tex = re.sub(r"\{aligned\}", "{align*}", tex.strip())
    tex = re.sub(r"\\mathrm\{(\w)\}", r"\\text{\1}", tex)  # a single upright letter is a unit: the converter makes it italic
    try:
        found = convert(tex, display=display)
        ElementTree.fromstring(found)
    except Exception:  # the converter has an error class for each kind of bad TeX, and some are plain ones
        found = "\\"
    return f'<code class="tex">{html.escape(tex)}</code>' if "\\" in found else found


class _Renderer(mistune.HTMLRenderer):
    def inline_math(self, text):
        return mathml(text)

    def block_math(self, text):
        # A wide formula scrolls in a narrow window: then the keyboard must reach it.
        reach = ' tabindex="0" role="group" aria-label="wide formula"' if len(text) > _WIDE else ""
        return f'<div class="formula"{reach}>{mathml(text, "block")}</div>\n'

    def image(self, text, url, title=None):
        # Stored pictures are data; the plain renderer would take such an address for a harmful one.
        return f'<img src="{html.escape(url)}" alt="{html.escape(text)}">'


_render = mistune.create_markdown(renderer=_Renderer(escape=False), plugins=["table", "math"])


def show_markdown(text):
    """A text cell as HTML, without the marks of computed numbers."""
    return _render(PROSE.sub("", text))


def _plain(text):
    return f"<pre>{html.escape(_COLOUR.sub('', text))}</pre>"


def _picture(kind, data, output):
    alt = output.get("metadata", {}).get(kind, {}).get("alt") or output["data"].get("text/plain", "")
    if kind == "image/svg+xml":
        return f'<div role="img" aria-label="{html.escape(alt)}">{data[data.index("<svg"):]}</div>'
    return f'<img alt="{html.escape(alt)}" src="data:{kind};base64,{"".join(data.split())}">'


def _output(output):
    if output.output_type == "stream":
        return _plain(output.text)
    if output.output_type == "error":
        return _plain("\n".join(output.traceback) or f"{output.ename}: {output.evalue}")
    kind = next((k for k in _ORDER if k in output.data), None)
    data = output.data.get(kind, "")
    if kind == "text/html":
        return f"<div>{data}</div>"
    if kind in ("text/markdown", "text/latex"):
        return show_markdown(data)
    return _plain(data) if kind in ("text/plain", None) else _picture(kind, data, output)


def show_cell(cell, number):
    """A cell as HTML: text, or folded code and its outputs."""
    if cell.cell_type == "markdown":
        return show_markdown(cell.source)
    code = (f'<details class="code"><summary>Code of cell {number}</summary><pre>{html.escape(cell.source)}</pre>'
            "</details>") if cell.source.strip() else ""
    return "\n".join([code, *map(_output, cell.get("outputs", []))])


def to_html(notebook):
    """The page of a notebook that was run."""
    heading = re.search(r"^# (.+)$", "\n".join(c.source for c in notebook.cells if c.cell_type == "markdown"), re.M)
    title = PROSE.sub("", heading[1]) if heading else "Report"
    return page(title, _NOTE, "\n".join(show_cell(cell, number) for number, cell in enumerate(notebook.cells, 1)))


def page(title, note, body):
    """A whole HTML page that forbids itself scripts and requests."""
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{html.escape(title)}</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<p class="note">{note}</p>
{body}
</main>
</body>
</html>
"""


def write_report(path, target, variables=None, replace=False):
    """Run the notebook at `path`, in its folder and with these environment variables; write the page to `target`."""
    path = Path(path)
    notebook = execute(nbformat.read(path, 4), path.parent, variables)
    return write_whole(target, to_html(notebook), replace=replace)


def main(arguments=None):
    """Command line: notebook, target, and whether an existing target may be replaced."""
    parser = argparse.ArgumentParser(prog="python -m tools.report", description=__doc__.splitlines()[0])
    parser.add_argument("notebook", type=Path)
    parser.add_argument("target", type=Path)
    parser.add_argument("--replace", action="store_true", help="replace an existing file")
    given = parser.parse_args(arguments)
    print(write_report(given.notebook, given.target, replace=given.replace))


if __name__ == "__main__":
    sys.exit(main())
