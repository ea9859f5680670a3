"""The build script and the report: format of the sources, stored notebooks, one page without network."""

import json
import re
from html.parser import HTMLParser

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from tools.build import METADATA, build, read
from tools.report import main, mathml, to_html

SOURCE = """# %% [markdown]
# # Travel
#
# A pulse moves <!--= 1e6 * travel:.2f --> um.

# %%
import os

from IPython.display import display

travel = 2e-3 / 400
print(f"{1e6 * travel:.2f} um", sorted(n for n in os.environ if n.startswith("MACROLIB_")))

# %% tags=["exercise"]
display({"text/html": "<img alt='a line' src='data:image/png;base64,AAAA'>", "text/plain": "a line",
         "application/vnd.jupyter.widget-view+json": {}}, raw=True)
"""


def test_source_format():
    notebook = read(SOURCE)
    assert [c.cell_type for c in notebook.cells] == ["markdown", "code", "code"]
    assert notebook.cells[0].source == "# Travel\n\nA pulse moves <!--= 1e6 * travel:.2f --> um."
    assert notebook.cells[2].metadata == {"tags": ["exercise"]}
    longer = read("# %%\nbefore = 1\n" + SOURCE + "# %%\nbefore = 1\n")
    assert [c.id for c in longer.cells[1:4]] == [c.id for c in notebook.cells]
    assert len({c.id for c in longer.cells}) == 5


@pytest.mark.parametrize("text", ["x = 1\n# %%\n", "# %%[markdown]\n", "# %% [markdown]\nno mark\n", "# %% tag\n"])
def test_what_does_not_fit_the_format_is_refused(text):
    with pytest.raises(ValueError, match="source:[12]"):
        read(text)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("book")
    source = folder / "travel.py"
    source.write_text(SOURCE)
    return source, folder / "travel.ipynb", build(source, folder / "travel.ipynb")


def test_build_stores_a_clean_run(built, monkeypatch):
    source, target, seconds = built
    notebook = nbformat.read(target, 4)
    assert seconds > 0 and notebook.metadata == METADATA
    assert [c.get("execution_count") for c in notebook.cells] == [None, 1, 2]
    assert notebook.cells[1].outputs[0].text == "5.00 um []\n"
    assert set(notebook.cells[2].outputs[0].data) == {"text/html", "text/plain"}
    assert "moves 5.00<!--" in notebook.cells[0].source
    first = target.read_bytes()
    monkeypatch.setenv("MACROLIB_SHOT", "another.toml")  # a user's own choice stays out of the stored pages
    build(source, target)
    assert target.read_bytes() == first


def test_an_error_leaves_the_stored_notebook(built, tmp_path):
    _, target, _ = built
    before, bad = target.read_bytes(), tmp_path / "bad.py"
    bad.write_text("# %%\n1 / 0\n")
    with pytest.raises(Exception, match="ZeroDivisionError"):
        build(bad, target)
    assert target.read_bytes() == before
    assert sorted(p.name for p in target.parent.glob("*travel*")) == ["travel.ipynb", "travel.py"]


class Loads(HTMLParser):
    """What a page would fetch or run."""

    def __init__(self, text):
        super().__init__()
        self.found, self.pictures = [], 0
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.pictures += tag == "img"
        for name, value in attributes:
            if name in ("src", "srcset", "data", "poster") and not (value or "").startswith("data:"):
                self.found.append((tag, name, value))
        if tag in ("script", "link", "iframe", "object", "embed"):
            self.found.append((tag, dict(attributes)))


def test_report_of_a_notebook(built):
    page_path = built[1].parent / "with space" / "report.html"
    assert main([str(built[1]), str(page_path)]) is None
    page = page_path.read_text()
    assert Loads(page).found == [] and Loads(page).pictures == 1
    assert "A pulse moves 5.00 um." in page and "<title>Travel</title>" in page
    assert "Sliders need a running kernel" in page
    with pytest.raises(FileExistsError):
        main([str(built[1]), str(page_path)])
    main([str(built[1]), str(page_path), "--replace"])


def _page(*cells):
    return to_html(new_notebook(cells=list(cells)))


def _shown(**data):
    data = {kind.replace("_", "/"): text for kind, text in data.items()}
    return new_code_cell("", outputs=[new_output("display_data", data=data)])


def test_report_escapes_text():
    hostile = "<script>alert(1)</script>"
    page = _page(_shown(text_plain=hostile), new_code_cell(f"# {hostile}"),
                 new_code_cell("", outputs=[new_output("stream", text=f"\x1b[31m{hostile}")]),
                 new_code_cell("", outputs=[new_output("error", ename="E", evalue=hostile, traceback=[])]))
    assert "<script" not in page and page.count("&lt;script&gt;alert(1)") == 4 and "\x1b" not in page
    # what a text cell or an HTML output holds is shown as it is; the page itself forbids scripts and requests
    assert re.search(r"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src", page)


def test_report_formulas():
    page = _page(new_markdown_cell("Inline $a < b$ and\n\n$$N_e = N\\left(1 + \\frac{m}{P}\\right)$$\n\n`$code$`"),
                 _shown(text_latex=r"$\displaystyle \sqrt{x}$", text_plain="sqrt(x)"),
                 _shown(text_markdown="| f |\n|---|\n| $x_1$ |", text_plain="table"))
    assert page.count("<math") == 4 and page.count('display="block"') == 1
    assert "<mfrac>" in page and "<msqrt>" in page and "<code>$code$</code>" in page and "<td><math" in page
    assert 'class="tex"' not in page


@pytest.mark.parametrize("tex", [
    r"\begin{aligned} a &= b \\ c &= d \end{aligned}", r"5\,\mu\mathrm{m}", r"6\ \mathrm{N~m}",
    r"\begin{cases} a & \text{for}\: x < 0 \\ b & \text{otherwise} \end{cases}"])
def test_formulas_of_the_notebooks_convert(tex):
    assert mathml(tex).startswith("<math")


@pytest.mark.parametrize("tex", [r"\nosuchmacro x", "x_", "{", "a & b <"])
def test_bad_tex_is_shown_as_text(tex):
    assert mathml(tex).startswith('<code class="tex">') and "<b" not in mathml(tex)


@pytest.mark.browser
def test_report_in_a_browser(built, tool):
    """Chromium asks for nothing but the file, draws the formula, and finds nothing to complain about."""
    from playwright.sync_api import sync_playwright

    page_path = built[1].parent / "formula.html"
    script = "<script>document.title = 'ran'</script><b>bold</b>"
    page_path.write_text(_page(new_markdown_cell("# T\n$$\\frac{a}{b}$$"), _shown(text_html=script)))
    flags = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=tool("chromium"), args=flags)
        page, asked = browser.new_page(), []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(page_path.as_uri())
        formula = page.locator("mfrac").bounding_box()
        title = page.title()
        browser.close()
    assert asked == [page_path.as_uri()] and title == "T"
    assert formula["height"] > 20  # numerator over denominator, not one line


def test_stored_json_is_as_jupyter_writes_it(built):
    assert json.loads(built[1].read_text())["nbformat_minor"] == 5
