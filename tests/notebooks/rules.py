"""The rules that every stored notebook keeps. A rule is a generator: (notebook, its path) -> messages.

`RULES` holds them by name, `LESSON_RULES` and `WORKSHEET_RULES` those for notebooks/learn and notebooks/design.
"""

import base64
import re
from html.parser import HTMLParser

from tools.build import METADATA, WIDGET, prose_parts

# Cells for which nbval is switched off: {notebook stem: why}. Empty on purpose; each entry needs its reason.
NBVAL_EXCEPTIONS = {}

_NBVAL_OFF = re.compile(r"nbval[-_](?:ignore[-_]output|skip)", re.I)
_HIDES_RESULTS = re.compile(r"\b(?:interact|interactive|interactive_output|interact_manual|clear_output|Output|\w*Slider)\s*\(")
_BARE_FLOAT = re.compile(r"\d\.\d{9,}")
_ADDRESS = re.compile(r"\bat 0x[0-9a-f]+")
_OUTSIDE_PATH = re.compile(r"(?<![\w.:/<])/(?:home|root|tmp|usr|var|opt|mnt|etc|work|Users|srv)/|\b[A-Z]:\\|file://")
_REQUEST = re.compile(r"\b(?:urllib|requests|http\.client|httpx|aiohttp|socket|urlopen|urlretrieve)\b|https?://")
_LOADS = re.compile(r"""(?:src|srcset|poster|data|action)\s*=\s*["']?\s*(?:https?:)?//|url\(|@import|"""
                    r"""<\s*(?:script|iframe|link|object|embed)\b|!\[[^\]]*\]\(\s*(?:https?:)?//""", re.I)
_MOVES = re.compile(r"""\bautoplay\b|<\s*(?:video|audio|animate\w*|set|marquee|blink)\b|image/gif|@keyframes|animation(?:-name)?\s*:|"""
                    r"""http-equiv\s*=\s*["']?refresh""", re.I)
_PNG = re.compile(r"data:image/png;base64,([A-Za-z0-9+/=]+)")
_NOT_PLAIN = ("simply", "obviously", "just", "easy", "easily", "trivial", "trivially", "of course", "clearly",
              "basically", "as everyone knows")
_VAGUE = ("know", "understand", "appreciate", "learn", "grasp", "be", "become", "see", "realise", "realize")
_UNIT = (r"(?:um|µm|mm|cm|nm|m|ms|us|s|min|h|Hz|kHz|kg|g|N|mA|A|V|W|Wh|ohm|mH|deg|rad|px|fps|turns?|pulses|frames|"
         r"seconds?|minutes?|%)(?:/(?:s|turn|min|frame|pulse)(?:\^2)?)?(?![\w^])")
_MEASURE = re.compile(r"(?<![\w.^_])(\d+(?:\.\d+)?)(?: |\u00a0|\\,|~)?(?:\\mathrm\{)?" + _UNIT)
_NUMERAL = re.compile(r"(?<![\w.])(\d*\.?\d+)(?:[eE][+-]?\d+)?")


def _code(notebook):
    return [c for c in notebook.cells if c.cell_type == "code"]


def _prose(notebook):
    return [c.source for c in notebook.cells if c.cell_type == "markdown"]


def _text(source):
    """A text cell without code, comments and markup: what is read."""
    source = re.sub(r"```.*?```|`[^`\n]*`|<!--.*?-->", " ", source, flags=re.S)
    return re.sub(r"\]\([^)]*\)|<[^>]*>", " ", source)


def _words(source):
    return re.findall(r"[A-Za-z][\w'-]*", re.sub(r"\$\$.*?\$\$|\$[^$\n]*\$", " ", _text(source), flags=re.S))


def _outputs(notebook):
    """(cell number, MIME type or stream name, text) of every output that holds text."""
    for number, cell in enumerate(notebook.cells, 1):
        for output in cell.get("outputs", []):
            if output.output_type == "stream":
                yield number, output.name, output.text
            for kind, data in output.get("data", {}).items():
                if isinstance(data, str) and not kind.startswith("image/p"):
                    yield number, kind, re.sub(r"data:image/[^\"')]*", "data:picture", data)


def _headings(notebook):
    """(level, text, cell number) of all headings, in order."""
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "markdown":
            source = re.sub(r"```.*?```", "", cell.source, flags=re.S)
            for marks, text in re.findall(r"^(#{1,6}) +(.+?)\s*$", source, re.M):
                yield len(marks), text, number


class _Pictures(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.alts = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag == "img":
            self.alts.append(dict(attributes).get("alt") or "")


def executed_in_order(notebook, path):
    counts = [c.execution_count for c in _code(notebook)]
    if counts != list(range(1, len(counts) + 1)):
        yield f"execution counts are {counts}, not 1 to {len(counts)}: build it again"
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "code" and not cell.source.strip():
            yield f"cell {number} is an empty code cell"


def has_compared_output(notebook, path):
    if not any(text.strip() for _, kind, text in _outputs(notebook) if kind in ("stdout", "text/plain", "text/html")):
        yield "no output that nbval compares: a cleared notebook would pass unseen"


def no_trailing_semicolon(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "code" and cell.source.rstrip().endswith(";"):
            yield f"cell {number} ends in ';', which nbval ignores: use '_ = ...'"


def no_hidden_results(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "code" and (found := _HIDES_RESULTS.search(cell.source)):
            yield f"cell {number} uses {found[0]}...): use a panel of macrolib.show, which a stored page shows too"


def no_magics(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "code" and re.search(r"^\s*[%!]|get_ipython", cell.source, re.M):
            yield f"cell {number} uses a magic or the shell"


def no_bare_floats(notebook, path):
    for number, kind, text in _outputs(notebook):
        if found := _BARE_FLOAT.search(text):
            yield f"cell {number}, {kind}: '...{found[0]}' is not formatted; its last digits differ between machines"
        if found := _ADDRESS.search(text):
            yield f"cell {number}, {kind}: '{found[0]}' is an object's address, not a result"


def no_stderr_or_error(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        for output in cell.get("outputs", []):
            if output.output_type == "stream" and output.name == "stderr":
                yield f"cell {number} writes to stderr: {output.text[:80]!r}"
            if output.output_type == "error" and "raises-exception" not in cell.metadata.get("tags", []):
                yield f"cell {number} is stored with {output.ename}"


def fixed_metadata(notebook, path):
    if notebook.metadata != METADATA:
        yield f"metadata is {dict(notebook.metadata)}: build it again"
    for number, cell in enumerate(notebook.cells, 1):
        if set(cell.metadata) - {"tags"} or cell.get("attachments"):
            yield f"cell {number} has metadata {dict(cell.metadata)} or attachments: only tags are kept"
        for output in cell.get("outputs", []):
            if WIDGET in output.get("data", {}):
                yield f"cell {number} stores a widget: give it a text and a picture (a panel of macrolib.show does)"


def one_title(notebook, path):
    titles = [(number, text) for level, text, number in _headings(notebook) if level == 1]
    if [number for number, _ in titles] != [1]:
        yield f"one '# title', in the first cell; found {titles}"


def heading_levels(notebook, path):
    last = 0
    for level, text, number in _headings(notebook):
        if level > last + 1:
            yield f"cell {number}: heading '{text}' skips from level {last} to {level}"
        last = level


def pictures_have_alt(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        texts = [cell.source] if cell.cell_type == "markdown" else []
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            texts += [data[k] for k in ("text/html", "text/markdown") if k in data]
            pictures = [k for k in data if k.startswith("image/")]
            if pictures and not {"text/html", "text/markdown"} & set(data):
                yield f"cell {number}: {pictures[0]} without <img alt=...> beside it; show it by macrolib.show"
        for text in texts:
            for alt in _Pictures(text).alts + re.findall(r"!\[([^\]]*)\]\(", text):
                if len(alt.strip()) < 20:
                    yield f"cell {number}: the alt text {alt!r} is too short to say what the picture shows"


def plain_words(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "markdown":
            for word in _NOT_PLAIN:
                if re.search(rf"\b{word}\b", _text(cell.source), re.I):
                    yield f"cell {number}: '{word}' tells learners nothing but that they are slow"


def no_outside_paths(notebook, path):
    texts = [(n, c.source) for n, c in enumerate(notebook.cells, 1)] + [(n, text) for n, _, text in _outputs(notebook)]
    for number, text in texts:
        if found := _OUTSIDE_PATH.search(text):
            yield f"cell {number}: '{found[0]}' is a path of one machine"


def no_requests(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "code" and (found := _REQUEST.search(cell.source)):
            yield f"cell {number}: '{found[0]}' in code: notebooks run without network"
        texts = [cell.source] if cell.cell_type == "markdown" else []
        texts += [t for n, kind, t in _outputs(notebook) if n == number and kind in ("text/html", "text/markdown")]
        for text in texts:
            if found := _LOADS.search(text):
                yield f"cell {number}: '{found[0]}' loads something when the page is shown"


def nothing_plays(notebook, path):
    """No stored output moves, flashes or sounds by itself: no film, no sound, no animated picture or style."""
    for number, cell in enumerate(notebook.cells, 1):
        texts = [cell.source, *(str(data) for output in cell.get("outputs", []) for data in output.get("data", {}).values())]
        kinds = [kind for output in cell.get("outputs", []) for kind in output.get("data", {})]
        moving = [m.group() for text in texts for m in _MOVES.finditer(text)]
        moving += [kind for kind in kinds if kind.startswith(("video/", "audio/")) or kind == "image/gif"]
        pictures = [m.group(1) for text in texts for m in _PNG.finditer(text)]
        pictures += [output.data["image/png"] for output in cell.get("outputs", []) if "image/png" in output.get("data", {})]
        moving += ["animated picture"] * sum(b"acTL" in base64.b64decode(picture) for picture in pictures)
        if moving:
            yield f"cell {number} plays by itself: {', '.join(sorted(set(moving)))}"


def nbval_stays_on(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        marks = " ".join(cell.metadata.get("tags", [])) + (cell.source if cell.cell_type == "code" else "")
        if (found := _NBVAL_OFF.search(marks)) and path.stem not in NBVAL_EXCEPTIONS:
            yield f"cell {number}: '{found[0]}' switches the comparison off and is not in NBVAL_EXCEPTIONS"


def links_resolve(notebook, path):
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type != "markdown":
            continue
        for target in re.findall(r"\]\(([^)\s]+)", cell.source):
            file = target.split("#")[0].replace("%20", " ")
            if file and not re.match(r"[a-z]+:", file) and not (path.parent / file).exists():
                yield f"cell {number}: the link to {target} leads nowhere"
        for text in re.findall(r"(?<!!)\[([^\]]+)\]\([^)]+\)", cell.source):
            if text.strip().lower() in ("here", "link", "this", "click here"):
                yield f"cell {number}: the link text '{text}' does not say where it leads"


def _digits(number):
    """The significant digits of a numeral, so that 2.54 mm is found as 2.54e-3."""
    return number.replace(".", "").strip("0")


def prose_numbers_are_bound(notebook, path):
    known = [c.source for c in _code(notebook)] + [text for _, _, text in _outputs(notebook)]
    known = {_digits(n) for text in known for n in _NUMERAL.findall(text)}
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type != "markdown":
            continue
        text = " ".join(part for part, _ in prose_parts(cell.source))
        for figure in _MEASURE.findall(text):
            digits = _digits(figure)
            computed = len(digits) >= 3 or "." in figure and len(digits) == 2
            if computed and digits not in known:
                yield (f"cell {number}: '{figure}' with a unit stands neither in the code nor in its output; "
                       "write it as <!--= expression --> in the source")


def panels_say_kernel(notebook, path):
    if (any(re.search(r"panel|slider", c.source, re.I) for c in _code(notebook))
            and not re.search(r"\bkernel\b", " ".join(_prose(notebook)))):
        yield "there are sliders, but no line says that they need a running kernel"


def lesson_sections(notebook, path):
    texts = [text for _, text, _ in _headings(notebook)]
    wanted = ["What you will be able to do", "What you need first", "Mistakes people make", "What to remember", "Next"]
    found = [t for t in texts if t in wanted]
    if found != wanted:
        yield f"sections are {found}, not {wanted}"
    if not any(t.startswith("Predict") for t in texts):
        yield "no heading starts with 'Predict': learners commit to an answer before they look"
    if not re.search(r"Estimated time: \d+ minutes reading, \d+ minutes exercises\.", _prose(notebook)[0]):
        yield "the first cell does not say 'Estimated time: .. minutes reading, .. minutes exercises.'"


def lesson_objectives(notebook, path):
    text = "\n".join(_prose(notebook))
    section = re.search(r"^#+ What you will be able to do\s*$(.*?)(?=^#+ |\Z)", text, re.M | re.S)
    points = re.findall(r"^(?:[-*]|\d+\.) +(.+)$", section[1] if section else "", re.M)
    if not 2 <= len(points) <= 5:
        yield f"{len(points)} objectives, not 2 to 5"
    for point in points:
        if re.match(r"\W*(\w+)", point)[1].lower() in _VAGUE:
            yield f"nobody can see this objective being met: '{point}'"


def lesson_exercises(notebook, path):
    headings = list(_headings(notebook))
    exercises = [(text, n, level) for level, text, n in headings if re.match(r"Exercise \d", text)]
    if not 2 <= len(exercises) <= 4:
        yield f"{len(exercises)} headings 'Exercise ...', not 2 to 4"
    for text, start, level in exercises:
        end = next((n for lv, _, n in headings if n > start and lv <= level), len(notebook.cells) + 1)
        cells = notebook.cells[start - 1:end - 1]
        if not any("exercise" in c.metadata.get("tags", []) for c in cells):
            yield f"'{text}' has no code cell tagged 'exercise' with the answer and its check"
        if not any(re.search(r"<details>\s*<summary>.*solution", c.source, re.I) for c in cells):
            yield f"'{text}' has no solution folded in <details><summary>Solution</summary>"


def lesson_size(notebook, path):
    lines = sum(len([x for x in c.source.splitlines() if x.strip()]) for c in _code(notebook))
    words = sum(len(_words(text)) for text in _prose(notebook))
    for what, found, least, most in (("cells", len(notebook.cells), 40, 60), ("words", words, 1000, 1800),
                                     ("lines of code", lines, 30, 70)):
        if not least <= found <= most:
            yield f"{found} {what}, not {least} to {most}"


def worksheet_size(notebook, path):
    if len(_code(notebook)) > 12:
        yield f"{len(_code(notebook))} code cells, more than 12"


def worksheet_asks_first(notebook, path):
    first = _code(notebook)[0].source if _code(notebook) else ""
    missing = [n for n in ("MACROLIB_SHOT", "MACROLIB_RIG", "MACROLIB_OUT") if n not in first]
    if missing and path.stem.startswith("plan-"):
        yield f"the first code cell does not read {', '.join(missing)}"


RULES = {rule.__name__: rule for rule in (
    executed_in_order, has_compared_output, no_trailing_semicolon, no_hidden_results, no_magics, no_bare_floats,
    no_stderr_or_error, fixed_metadata, one_title, heading_levels, pictures_have_alt, plain_words, no_outside_paths,
    no_requests, nothing_plays, nbval_stays_on, links_resolve, prose_numbers_are_bound, panels_say_kernel)}
LESSON_RULES = {rule.__name__: rule for rule in (lesson_sections, lesson_objectives, lesson_exercises, lesson_size)}
WORKSHEET_RULES = {rule.__name__: rule for rule in (worksheet_size, worksheet_asks_first)}


def rules_for(path):
    """The rules that apply to a notebook, by its folder."""
    return RULES | {"learn": LESSON_RULES, "design": WORKSHEET_RULES}.get(path.parent.name, {})
