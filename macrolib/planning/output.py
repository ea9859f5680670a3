"""What leaves a plan: plan.json, schedule.csv and settings.html, each naming version, rig and shot."""

import csv
import html
import io
import json
import math
from pathlib import Path

from macrolib import files, units
from macrolib.planning.checks import FAILS, HOLDS, NO_MEND, NOT_COMPUTED, TIGHT
from macrolib.planning.common import Setting
from macrolib.planning.uncertainty import measured_notes
from macrolib.rig import PARTS
from macrolib.shot import DIRECTIONS, KINDS, TABLES

_SIGNS = {HOLDS: "✓", TIGHT: "~", FAILS: "✗", NOT_COMPUTED: "?"}
_CAUTIONS = (
    "Keep fingers, hair and cords away from carriage, screw and belt: a slow screw pushes with great force.",
    "A stop within reach must take the power from the motor. End stops and current limit protect no one.",
    "Motor and driver may be too hot to touch. Never unplug a motor from a driver that is switched on.",
    "Approach glass slowly: set the end limit before the lens can touch the subject.",
    "Batteries and mains: fuse close to the battery, closed supplies, no open terminals.",
    "This page is for planning. Makers' instructions, local codes and licensed practice come first.",
)
_UPRIGHT = "Upright or sloping axis: the load can fall when power, driver or cable fails. Fit a brake or a counterweight, catch and tether."


def _origin_of(plan):
    return f"macrolib {plan.version}, shot {plan.shot.name or 'without a name'}, rig {plan.rig.name or 'without a name'}"


def shown(setting, uncertainty=None):
    """A Setting as text with its unit, and with its standard uncertainty where there is one."""
    unit = {"1/s": "pulses/s", "1/s^2": "pulses/s^2", "1/s^3": "pulses/s^3"}.get(setting.unit)
    if uncertainty:
        return units.show_uncertain(setting.value, uncertainty, "1" if unit else setting.unit) + (f" {unit}" if unit else "")
    if setting.unit == "pulse":
        return f"{setting.value:,.0f} pulses".replace(",", " ")
    return f"{setting.value:,.0f} {unit}".replace(",", " ") if unit else units.show(setting.value, setting.unit)


def plan_json(plan):
    """The plan as JSON text: settings and checks in the units that are shown."""
    def number(value, unit):
        return None if value is None or not math.isfinite(value) else float(f"{units.to_unit(value, unit):.12g}")

    def spread(name, unit):
        u = plan.uncertainties.get(name)
        return {} if u is None else {"standard_uncertainty": float(f"{units.to_unit(u, unit) - units.to_unit(0.0, unit):.3g}")}

    settings = {n: {"value": number(s.value, s.unit), **spread(n, s.unit), "unit": s.unit, "origin": s.origin, "meaning": s.meaning}
                for n, s in plan.settings.items()}
    checks = [{"name": c.name, "figure": number(c.figure, c.unit), **spread(c.name, c.unit), "sense": c.sense,
               "limit": number(c.limit, c.unit), "unit": c.unit, "margin": number(c.margin, "1"), "state": c.state, "why": c.why,
               "mend": None if c.mend is None else {"key": c.mend.key, "text": c.mend.text}} for c in plan.checks]
    content = {"version": plan.version, "shot": plan.shot.name, "rig": plan.rig.name, "kind": plan.shot.kind, "verdict": plan.verdict,
               "settings": settings, "checks": checks, "notes": list(plan.notes), "typical_values": list(plan.typical),
               "measured_values": measured_notes(plan.rig)}
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def schedule_csv(plan):
    """The schedule as CSV text: three lines that begin with '#', a header with units, a row a frame."""
    out = io.StringIO()
    out.write(f"# {_origin_of(plan)}\n".replace("\r", " "))
    for what, start, end, seconds in plan.approach:
        place = "anywhere" if start is None else f"pulse {start}"
        out.write(f"# {what}: from {place} to pulse {end}, {seconds:.3f} s\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow([name if unit == "1" else f"{name} ({unit})" for name, (unit, _) in plan.schedule.items()])
    columns = [[f"{x:.10g}" for x in units.to_unit(values, unit)] for unit, values in plan.schedule.values()]
    table.writerows(zip(*columns))
    return out.getvalue()


def _margin(check):
    if check.margin is None or check.limit == 0:
        return ""
    return "margin over 1000" if check.margin > 1000 else f"margin {check.margin:.3g}"


def _in_words(check, plan):
    spread = plan.uncertainties.get(check.name)
    words = check.in_words()
    return shown(Setting(check.figure, check.unit, "", ""), spread) + words[words.index(" ("):] if spread else words


def _state(check):
    mend = check.mend.text if check.mend else NO_MEND if check.why.endswith(NO_MEND) else ""
    return f"{check.state}; {mend}" if mend else check.state


def text_table(plan):
    """Settings and checks as a short table of plain text."""
    lines = [f"{plan.shot.name} on {plan.rig.name}: {plan.verdict}", "", "Settings"]
    lines += [f"  {s.meaning:<52} {shown(s, plan.uncertainties.get(n)):>18}  {s.origin}" for n, s in plan.settings.items()]
    lines += ["", "Checks"]
    for c in plan.checks:
        lines.append(f"  {_SIGNS[c.state]} {c.state:<12} {c.name:<40} {_in_words(c, plan):<42} {_margin(c)}".rstrip())
        if c.mend:
            lines.append(f"{'':17}mend: {c.mend.text}")
        elif c.state == NOT_COMPUTED or c.why.endswith(NO_MEND):
            lines.append(f"{'':17}{c.why}")
    lines += ["", *(f"Note: {note}" for note in [*plan.notes, *measured_notes(plan.rig)])]
    if plan.typical:
        lines.append(f"Note: typical values, not yours, in: {', '.join(plan.typical)}.")
    return "\n".join(lines) + "\n"


_STYLE = """@page{size:A4;margin:10mm}*{box-sizing:border-box}body{font:8.5pt/1.25 sans-serif;margin:0 auto;max-width:190mm;color:#111}
h1{font-size:14pt;margin:0}h2{font-size:10pt;margin:2mm 0 .5mm}p,ul{margin:.5mm 0}ul{padding-left:4mm}
.two{display:grid;grid-template-columns:1fr 1fr;column-gap:5mm}table{border-collapse:collapse;width:100%;align-self:start}
td,th{border-bottom:.2mm solid #999;padding:.2mm 1mm;text-align:left;vertical-align:top}td.n{text-align:right;white-space:nowrap}
.full{font-size:8pt}.full .small{font-size:7.1pt}td.u{font-size:6.8pt}
.small{font-size:7.5pt}.fails td{font-weight:bold}"""


def _row(*cells, css=""):
    kinds = ["", ' class="n u"' if "±" in cells[1] else " class=n", ""]
    body = "".join(f"<td{kind}>{html.escape(str(c))}</td>" for kind, c in zip(kinds, cells))
    return f"<tr{f' class={css}' if css else ''}>{body}</tr>"


def settings_html(plan):
    """The settings card: one A4 page of HTML that needs nothing from elsewhere."""
    e = html.escape
    rows = [_row(s.meaning, shown(s, plan.uncertainties.get(n)), s.origin) for n, s in plan.settings.items()]
    half = (len(rows) + 1) // 2
    head = "<tr><th>setting</th><th>value</th><th>from</th></tr>"
    tables = "".join(f"<table>{head}{''.join(part)}</table>" for part in (rows[:half], rows[half:]))
    check_rows = "".join(_row(f"{_SIGNS[c.state]} {c.name}", _in_words(c, plan), _state(c),
                              css="fails" if c.state == FAILS else "") for c in plan.checks)
    cautions = [*([_UPRIGHT] if plan.rig.rail.tilt > 0.05 else []), *_CAUTIONS]
    notes = [*plan.notes, *([" ".join(measured_notes(plan.rig))] if plan.rig.measured else []),
             *([f"Typical values, not yours, in: {', '.join(plan.typical)}."] if plan.typical else [])]
    approach = "".join(f"<li>{e(what)}: to pulse {end}, {seconds:.1f} s</li>" for what, _, end, seconds in plan.approach)
    title = f"{plan.shot.name or 'Shot'} on {plan.rig.name or 'rig'}"
    return (f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{e(title)}</title><style>{_STYLE}</style></head>'
            f'<body{" class=full" if plan.rig.measured else ""}>\n'
            f"<h1>{e(title)}: {e(plan.verdict)}</h1><p class=small>{e(_origin_of(plan))}</p>\n"
            f"<h2>What to set</h2><div class=two>{tables}</div>\n<h2>Way to the start</h2><ul class=small>{approach}</ul>\n"
            f"<h2>Checks</h2><table class=small><tr><th>check</th><th>figure and limit</th><th>state</th></tr>{check_rows}</table>\n"
            f"<h2>Notes</h2><ul class=small>{''.join(f'<li>{e(n)}</li>' for n in notes)}</ul>\n"
            f"<h2>Cautions</h2><ul class=small>{''.join(f'<li>{e(c)}</li>' for c in cautions)}</ul>\n</body></html>\n")


COLUMNS = {  # of schedule.csv: meaning; the unit stands in the header
    "frame": "number of the stack frame, or of the video frame in a take", "position": "carriage position from the home switch",
    "position_pulses": "the same in pulses, which is what is sent", "arrive": "the carriage comes to rest, the settling wait begins",
    "trigger": "the camera is triggered", "expose": "the exposure begins", "ready": "the next move may begin",
    "set_point": "where the hand asks the carriage to be", "time_left": "time left in the stack or the take",
    "time": "time since the take began", "speed": "speed of the carriage",
    "image_speed": "motion of the picture from this video frame to the next",
}


def reference_page():
    """Markdown of every key of rig.toml and shot.toml and every column of schedule.csv: notebooks/data/keys.md."""
    columns = "\n".join(f"| {name} | {meaning} |" for name, meaning in COLUMNS.items())
    return (f"# Keys of the files\n\nA quantity is a text with its unit. A key with a default may be left out.\n\n"
            f"## rig.toml\n\n{files.key_table(PARTS)}\n\nA value that was measured stands in its own table beside the old one, for example "
            "`[measured.stand.natural_frequency]` with the keys `value`, `standard_uncertainty` and `date`; plans use it.\n\n"
            f"## shot.toml\n\nAt the top: name, note, kind ({', '.join(KINDS)}), direction ({' or '.join(DIRECTIONS)}).\n\n"
            f"{files.key_table(TABLES)}\n\n## schedule.csv\n\n| column | meaning |\n|---|---|\n{columns}\n")


WRITERS = {"plan.json": plan_json, "schedule.csv": schedule_csv, "settings.html": settings_html}


def write_plan(plan, folder, replace=False):
    """Write the three files into a folder, all or none; FileExistsError for existing ones unless `replace`."""
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise NotADirectoryError(f"{folder}: is a file; give a folder")
    there = [name for name in WRITERS if (folder / name).exists()]
    if there and not replace:
        raise FileExistsError(f"{folder}: {', '.join(there)} exist already; they are replaced only when asked")
    content = {name: write(plan) for name, write in WRITERS.items()}
    return [files.write_whole(folder / name, text, replace) for name, text in content.items()]
