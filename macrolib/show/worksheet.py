"""What all worksheets show of a plan: working, settings, schedule, checks, what mends do, files."""

from pathlib import Path

import numpy as np
from IPython.display import Markdown

from macrolib import units
from macrolib.formula import working
from macrolib.planning import checks, plan
from macrolib.planning.output import WRITERS, shown, write_plan
from macrolib.show.style import pretty, say

__all__ = ["Sheet"]


def _clean(values):
    """Values without what rounding left of a zero, which differs between machines."""
    return np.where(np.abs(values) > 1e-9 * np.abs(values).max(), values, 0)


def _table(heads, rows):
    return [f"| {' | '.join(cells)} |" for cells in (heads, ["---"] * len(heads), *rows)]


class Sheet:
    """The parts of a worksheet about one Plan; `text` holds each setting as text with its unit."""

    def __init__(self, made):
        self.plan = made
        self.text = {name: pretty(shown(setting)) for name, setting in made.settings.items()}

    @staticmethod
    def working(*steps):
        """Sentences, each (words, formula, {symbol: SI value}) with the formula's working below it, or (words,) alone."""
        return Markdown("\n\n".join(words + (f"\n\n$${working(rest[0], **rest[1])}$$" if rest else "") for words, *rest in steps))

    def origin(self, name):
        """Where a setting comes from: given, auto or preset."""
        return self.plan.settings[name].origin

    def settings(self):
        """Table of all settings, and the notes of the plan."""
        rows = [(setting.meaning, self.text[name], setting.origin) for name, setting in self.plan.settings.items()]
        notes = [f"- {note}" for note in self.plan.notes]
        if self.plan.typical:
            notes.append(f"- Typical values, not yours, stand in: {', '.join(self.plan.typical)}.")
        return Markdown("\n".join([*_table(("setting", "value", "from"), rows), "", *notes]))

    def schedule(self, first=4):
        """The way to the start, then the first rows of the schedule, the middle one and the last."""
        way = ["The way to the start, then some rows of the schedule; `schedule.csv` holds them all.", "",
               *(f"- {what}: to pulse {end}, {seconds:.3f} s" for what, _, end, seconds in self.plan.approach)]
        columns = self.plan.schedule
        heads = [name.replace("_", " ") + ("" if unit == "1" else f" ({pretty(unit)})") for name, (unit, _) in columns.items()]
        count = len(columns["frame"][1])
        rows = [[f"{units.to_unit(_clean(values)[row], unit):.6g}" for unit, values in columns.values()]
                for row in sorted({*range(count)[:first], count // 2, count - 1})]
        return Markdown("\n".join([*way, "", *_table(heads, rows)]))

    def checks(self):
        """Table of all checks with their mends."""
        rows = [(check.name, pretty(check.in_words()), check.state, pretty(check.mend.text) if check.mend else "", check.why)
                for check in self.plan.checks]
        return Markdown("\n".join(_table(("check", "figure and limit", "state", "mend", "what it rests on"), rows)))

    def mends(self):
        """What each mend does to the whole plan, and what no mend reaches, as lines of text."""
        said = []
        for check in self.plan.checks:
            if check.mend:
                again = plan(*checks.apply(self.plan.shot, self.plan.rig, check.mend.key, check.mend.value), mends=False)
                others = [c.name for c in again.checks if c.state == "fails"]
                said.append(f"{pretty(check.mend.text)}: {check.name} {again.check(check.name).state}; {say(again['total_time'], 'min')} "
                            "in all" + (f"; then fails: {', '.join(others)}" if others else ""))
            elif check.state != "holds":
                said.append(f"{check.name}: {check.state}" + ("; no single number mends it" if check.state == "fails" else "")
                            + f"; {check.why}")
        return "\n".join([*said, f"The plan as it stands: {self.plan.verdict}."])

    def write(self, folder):
        """Write the files of the plan, if a folder is named; says what was written, and never replaces a file."""
        if folder is None:
            return "No files were written. Set OUT in the first cell to a folder, and run all cells again."
        try:
            return "Written: " + ", ".join(path.name for path in write_plan(self.plan, folder))
        except FileExistsError:
            files = {name: Path(folder, name) for name in WRITERS}
            same = {name: file.exists() and file.read_text("utf-8") == WRITERS[name](self.plan) for name, file in files.items()}
            return "\n".join(f"{name}: " + ("is there and is that of this plan" if same[name] else
                                            "was not written; the folder holds another plan's files") for name in files)
