"""Pictures of a choice: the front of a search and why the others drop out, what moves a plan's checks, how likely they hold."""

import textwrap

import numpy as np
from matplotlib.ticker import LogLocator

from macrolib import units
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, styled

__all__ = ["chances", "front", "influences"]

_KINDS = {"screw": "rig", "ball screw": "shot", "belt": "third", "rack": "fourth"}  # kind of line for a kind of transmission
_ROWS, _COLUMNS = 10, 6  # inputs and checks that fit into the picture of influences


_ENDS = {"A": ("the quickest", "time", 1), "B": ("the finest", "resolution", 1), "C": ("the highest top speed", "top speed", -1),
         "D": ("the least ripple", "ripple", 1), "E": ("the least power", "power", 1)}


def ends(found):
    """{letter: (what it is best in, its Found)} of the front of an Explored, for each of the figures that are compared."""
    known = {letter: end for letter, end in _ENDS.items() if found.front and end[1] in found.front[0].figures}
    return {letter: (words, min(found.front, key=lambda row: sign * row.figures[what])) for letter, (words, what, sign) in known.items()}


@styled
def front(found):
    """The front of a planning Explored, its ends named by letters; beside it why the other combinations drop out."""
    fig = style.figure(4.4, 1, 1)[0]
    fig.clear()
    grid = fig.add_gridspec(2, 2, width_ratios=[1.15, 1], left=0.085, right=0.935, bottom=0.115, top=0.93, wspace=0.85, hspace=0.5)
    upper, lower, right = fig.add_subplot(grid[0, 0]), fig.add_subplot(grid[1, 0]), fig.add_subplot(grid[:, 1])
    ripple = "ripple" if found.front and "ripple" in found.front[0].figures else "position uncertainty"
    unit = "px" if ripple == "ripple" else "um"
    sides = {"resolution": ("travel for one pulse", "um", True), "top speed": ("top speed", "mm/s", True),
             "time": ("time for the shot", "s", False), ripple: (ripple, unit, True)}
    for ax, pair in ((upper, ("resolution", "top speed")), (lower, ("time", ripple))):
        _dots(ax, found, pair, [sides[what] for what in pair])
    upper.set_title(f"{len(found.front)} of those that {'hold' if found.states['holds'] else 'are tight'} are not beaten", fontsize=10)
    reasons = [(name, reason.first / found.count) for name, reason in found.reasons.items() if reason.first][:9]
    right.barh(range(len(reasons)), [share for _, share in reasons], color=COLOURS["sky"], edgecolor="black", lw=0.6)
    for row, (_, share) in enumerate(reasons):
        right.text(share, row, f" {share:.1%}" if share >= 0.0005 else " < 0.1%", va="center", fontsize=9)
    right.set_yticks(range(len(reasons)), [_wrapped(name, 26, 2) for name, _ in reasons], fontsize=8.5)
    right.set_ylim(max(len(reasons), 4) - 0.4, -0.6)
    right.yaxis.grid(False)
    axis(right.xaxis, "share of all combinations", "1", (0, 1.2 * max([share for _, share in reasons], default=1.0)))
    right.set_title("turned away, by the least room", fontsize=10)
    return Picture(fig, _front_words(found, reasons))


def _dots(ax, found, pair, sides):
    """The front as dots of two figures, a marker for each kind of transmission, with the letters of its ends."""
    parts, own = found.axes.get("transmission", {}), found.rig.transmission
    kinds = [parts[row.names["transmission"]].kind if parts else own.kind for row in found.front]
    shown = np.array([[row.figures[what] for what in pair] for row in found.front]).reshape(-1, 2)
    shown = np.column_stack([units.to_unit(column, unit) for column, (_, unit, _) in zip(shown.T, sides)])
    for kind in dict.fromkeys(kinds):
        some = shown[[other == kind for other in kinds]]
        ax.plot(*some.T, label=kind, clip_on=False, **LINES[_KINDS[kind]] | {"linestyle": "", "ms": 6.5, "mec": "white", "mew": 0.8})
    letters = {}
    for letter, (_, row) in ends(found).items():
        letters.setdefault(found.front.index(row), []).append(letter)
    places = {}
    for index, some in letters.items():
        places.setdefault(tuple(shown[index]), []).extend(some)
    for number, (place, some) in enumerate(sorted(places.items())):  # neighbours above and below, so that they do not meet
        ax.annotate(", ".join(some), place, xytext=(4, -12 if number % 2 else 5), textcoords="offset points", fontsize=9, weight="bold",
                    annotation_clip=False)
    if kinds and pair[0] == "resolution":
        ax.legend(loc="best", handletextpad=0.1, borderaxespad=0.2, fontsize=9)
    for side, values, (name, unit, log) in zip((ax.xaxis, ax.yaxis), shown.T, sides):
        low, high = (values.min(), values.max()) if len(values) else (1.0, 2.0)
        room = (high / low) ** 0.08 * 1.15 if log else 0.1 * (high - low) + 0.01 * high
        axis(side, name, unit, (low / room, high * room) if log else (low - room, high + room), log=log)
        if log:
            side.set_major_locator(LogLocator(subs=(1, 2, 5) if high < 300 * low else (1,)))


def _wrapped(text, width, lines):
    return textwrap.fill(textwrap.shorten(text, width * lines - 4, placeholder=" ..."), width)


def _front_words(found, reasons):
    away = "; ".join(f"{name} {share:.1%}" for name, share in reasons[:4]) or "none"
    words = f"Of {found.count:,} combinations {found.states['holds']:,} hold and {found.states['tight']:,} are tight".replace(",", " ")
    if not found.front:
        return f"{words}. Turned away, by the least room: {away}."
    named = " ".join(f"{letter}, {what}: {', '.join(row.names.values())}." for letter, (what, row) in ends(found).items())
    return (f"{words}; {len(found.front)} are not beaten in everything: dots of travel for one pulse, top speed, time and ripple. "
            f"{named} Turned away, by the least room: {away}.")


def _named(key):
    _, table, name = key.split(".")
    return f"{table.replace('_', ' ')}: {name.replace('_', ' ')}"


@styled
def influences(found):
    """How margins change with one standard uncertainty of the inputs that matter most; found: a planning Sensitivities."""
    keys = list(found.inputs)[:_ROWS]
    names = [name for name in found.margins if any(found.changes[key][name] for key in keys)][:_COLUMNS]
    fig, ax = style.figure(1.25 + 0.27 * len(keys))
    fig.subplots_adjust(left=0.325, right=0.985, bottom=0.35 / fig.get_figheight(), top=1 - 0.72 / fig.get_figheight())
    for row, key in enumerate(keys):
        for column, name in enumerate(names):
            change, margin = found.changes[key][name], found.margins[name]
            part, text = min(1.0, abs(change / margin) / 0.3), f"{change:+.2g}" if abs(change) > 5e-4 * margin else "0"
            ax.fill([column - 0.48, column + 0.48, column + 0.48, column - 0.48], [row - 0.45, row - 0.45, row + 0.45, row + 0.45], lw=0,
                    color="#F4F4F4" if text == "0" else COLOURS["sky" if change > 0 else "orange"],
                    alpha=1.0 if text == "0" else 0.15 + 0.75 * part)
            ax.text(column, row, text.replace("-", "\N{MINUS SIGN}"), ha="center", va="center", fontsize=8.5,
                    weight="bold" if part > 0.3 else "normal", color="black" if text != "0" else "#555555")
    ax.set(xlim=(-0.5, len(names) - 0.5), ylim=(len(keys) - 0.5, -0.5))
    ax.xaxis.tick_top()
    ax.set_xticks(range(len(names)), [f"{_wrapped(name, 15, 3)}\n{found.margins[name]:.3g}" for name in names], fontsize=8)
    ax.set_yticks(range(len(keys)), [f"{_named(key)} ± {_share(found.inputs[key])}" for key in keys], fontsize=8.5)
    ax.grid(False)
    ax.tick_params(length=0)
    fig.text(0.015, 0.1 / fig.get_figheight(), "Under each check its margin; in the cells, what one standard uncertainty more takes from "
             "it or adds to it.", fontsize=8.5)
    first = found.inputs[keys[0]]
    down, up = found.rooms[keys[0]]
    return Picture(fig, f"Table of {len(keys)} uncertain inputs by {len(names)} checks: change of the check's margin for one standard "
                        f"uncertainty more. The verdict moves most with {_named(keys[0])}, ± {_share(first)} ({first.origin}): the least "
                        f"room of all checks, {found.room:.3g}, becomes {down:.3g} with less and {up:.3g} with more of it.")


def _share(entry):
    return f"{100 * entry.uncertainty / abs(entry.value):.2g}%"


@styled
def chances(found, rows=8):
    """How often each check of a plan holds, is tight or fails among the samples of a planning Chance, and all of them together."""
    some = [(name, shares) for name, shares in found.checks.items() if shares[0] < 0.9995][:rows]
    shown = [("all checks together", (found.holds, found.kept, None)), *some]
    if others := list(found.checks.values())[len(some):]:
        shown.append((f"each of the other {len(others)}", (*min(others)[:2], None)))
    fig, ax = style.figure(1.2 + 0.3 * len(shown))
    fig.subplots_adjust(left=0.33, right=0.87, bottom=0.52 / fig.get_figheight(), top=1 - 0.38 / fig.get_figheight())
    parts = {"holds": ("sky", ""), "tight": ("yellow", "..."), "fails or not computed": ("orange", "///")}
    for row, (_, (holds, kept, _)) in enumerate(shown):
        start = 0.0
        for (state, (colour, hatch)), share in zip(parts.items(), (holds, kept - holds, 1 - kept)):
            ax.barh(row, share, left=start, color=COLOURS[colour], hatch=hatch, edgecolor="black", lw=0.6,
                    label=state if row == 0 else None, height=0.72)
            start += share
        ax.text(1.015, row, f"{kept:.1%}" if 0.0005 < kept < 0.9995 else f"{kept:.0%}", transform=ax.get_yaxis_transform(), va="center",
                weight="bold" if row == 0 else "normal")
    ax.set_yticks(range(len(shown)), [name for name, _ in shown], fontsize=9)
    ax.set_ylim(len(shown) - 0.4, -0.6)
    ax.yaxis.grid(False)
    axis(ax.xaxis, f"share of {found.samples} samples", "1", (0, 1))
    fig.legend(*ax.get_legend_handles_labels(), loc="upper center", ncols=3, handlelength=1.8)
    weakest = next(iter(found.checks.items()), None)
    words = f" The rarest: {weakest[0]}, which holds in {weakest[1][0]:.1%} and does not fail in {weakest[1][1]:.1%}." if weakest else ""
    out = f" Not computed, and left out: {', '.join(found.left_out)}." if found.left_out else ""
    return Picture(fig, f"Bars of how often checks hold, are tight or fail with uncertain inputs. All checks hold in {found.holds:.1%} "
                        f"(standard error {found.holds_error:.1%}) and none fails in {found.kept:.1%} ({found.kept_error:.1%}) of "
                        f"{found.samples} samples.{words}{out}")
