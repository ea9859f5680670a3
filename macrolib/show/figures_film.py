"""Pictures of filmed and hand-led moves, from plain numbers in SI: the take between its marks, what each frame shows, the hand."""

import numpy as np

from macrolib.physics import following
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["from_frame_to_frame", "led_by_hand", "take"]


def _two_rows(height, left=0.105):
    fig, (top, low) = style.figure(height, 2, sharex=True, height_ratios=[1.35, 1])
    fig.subplots_adjust(left=left, right=0.985, bottom=0.5 / height, top=1 - 0.3 / height, hspace=0.1)
    return fig, top, low


def _marks(ax, marks):
    """The marks as lines across, each named where the carriage is far from it."""
    for place, name, x, side in zip(marks, ("start mark", "end mark"), (0.995, 0.005), ("right", "left")):
        ax.axhline(place * 1e3, **bare("limit", linewidth=1.3))
        ax.text(x, place * 1e3, f" {name} {say(place, 'mm')} ", transform=ax.get_yaxis_transform(), ha=side,
                va="bottom" if place == min(marks) else "top")


@styled
def take(move, start, sense, marks):
    """Place on the rail and speed over one take, its ramps shaded.

    move: a ramps.Move of positive distance; start: rail position in m where it begins; sense: 1 or -1; marks: (start, end) in m.
    """
    fig, top, low = _two_rows(4.4)
    t = np.linspace(0, move.duration, 1001)
    places = start + sense * move.position(t)
    top.plot(t, places * 1e3, **bare("rig"))
    low.plot(t, move.speed(t) * 1e3, **bare("rig"))
    for begin, end in ((0, move.ramp_in), (move.duration - move.ramp_out, move.duration)):
        for ax in (top, low):
            ax.axvspan(begin, end, color=COLOURS["yellow"], alpha=0.4, lw=0)
    _marks(top, marks)
    at = [float(move.time_at(np.clip(sense * (mark - start), 0, move.distance))) for mark in marks]
    top.plot(at, np.array(marks) * 1e3, **LINES["shot"] | {"linestyle": "", "clip_on": False, "zorder": 5})
    words = (f"ramp in {say(move.ramp_in, 's')}", f"from mark to mark {say(at[1] - at[0], 's')}", f"ramp out {say(move.ramp_out, 's')}")
    for text, x, side in zip(words, (0, 0.5, 1), ("left", "center", "right")):
        top.text(x, 1.02, text, ha=side, transform=top.transAxes)
    axis(top.yaxis, "place on the rail", "mm")
    axis(low.yaxis, "speed", "mm/s", (0, 1.12e3 * move.peak_speed))
    axis(low.xaxis, "time", "s", (0, move.duration))
    fig.align_ylabels([top, low])
    return Picture(fig, f"Place on the rail and speed against time, the ramps shaded: from {say(start, 'mm')} to "
                        f"{say(start + sense * move.distance, 'mm')} in {say(move.duration, 's')}, at most {say(move.peak_speed, 'mm/s')}; "
                        f"{', '.join(words)}. Marks at {say(marks[0], 'mm')} and {say(marks[1], 'mm')}.")


@styled
def from_frame_to_frame(wanted, sent, limit, frames_of_ramp):
    """Motion of the picture from each video frame to the next: as wanted, and as the whole pulses make it.

    wanted, sent: px/frame, arrays with one value for each video frame but the last; limit: px/frame; frames_of_ramp: length of the ramp.
    """
    frames, few = np.arange(1, len(wanted) + 1), min(len(wanted), max(12, round(1.3 * frames_of_ramp)), 120)
    fig, (left, right) = style.figure(3.5, 1, 2, sharey=True, width_ratios=[1.25, 1])
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.145, top=0.905, wspace=0.08)
    top = 1.15 * max(wanted.max(), sent.max())
    for ax, shown, title in ((left, len(frames), "the whole take"), (right, few, "its beginning, enlarged")):
        ax.plot(frames[:shown], wanted[:shown], **bare("rig"), zorder=3, label="wanted")
        ax.plot(frames[:shown], sent[:shown], **LINES["shot"] | {"linestyle": "", "markersize": 4 if shown <= 40 else 2.5},
                label="as whole pulses make it")
        ax.set_title(title, fontsize=10)
        axis(ax.xaxis, "video frame", "1", (0, shown + 1))
        axis(ax.yaxis, "picture moves", "px/frame", (0, top))
        ax.xaxis.get_major_locator().set_params(integer=True)
    right.set_ylabel("")
    left.legend(loc="lower center", handlelength=3)
    near = limit <= top
    if near:
        for ax in (left, right):
            ax.axhline(limit, **bare("limit"))
    left.text(0.5, limit if near else 0.97 * top, f"limit: {say(limit, 'px/frame')}{'' if near else ', above this picture'}", ha="center",
              va="bottom" if near else "top", transform=left.get_yaxis_transform())
    off = float(np.abs(sent - wanted).max())
    return Picture(fig, f"Motion of the picture from frame to frame over {len(frames) + 1} video frames: it rises over about "
                        f"{frames_of_ramp:.0f} frames to {wanted.max():.3g} px/frame and falls again; the limit is {limit:.3g} px/frame. "
                        f"Whole pulses scatter by up to {off:.2g} px about it.")


@styled
def led_by_hand(times, points, places, marks, speed, acceleration):
    """Lag and coast enlarged, beside a whole hand-led move: set-point and carriage, below how far the carriage is behind.

    Left, a hand that starts, turns steadily at 0.8 of the largest `speed` (m/s) and rests. Right, set-points and positions in m at
    `times` (s), between the marks (start, end) in m. acceleration in m/s^2.
    """
    stop = speed / acceleration
    close = np.linspace(0, 7 * stop, 701)
    hand = 0.8 * speed * np.clip(close - stop, 0, 3 * stop)
    led = following.follow(close, hand, speed, acceleration)
    lag = following.stopping_distance(0.8 * speed, acceleration, 0.0)
    small = ("um", 1e6) if hand[-1] < 1e-3 else ("mm", 1e3)
    behind = (points - places) * np.sign(marks[1] - marks[0])
    fig, axes = style.figure(4.8, 2, 2, sharex="col", height_ratios=[1.35, 1])
    fig.subplots_adjust(left=0.1, right=0.985, bottom=0.105, top=0.935, hspace=0.1, wspace=0.24)
    columns = zip(axes.T, ((close, hand, led, hand - led, *small), (times, points, places, behind, "mm", 1e3)),
                  ("enlarged: a hand that starts and rests", "the whole way: an unsteady hand"))
    for (top, low), (t, asked, got, off, unit, scale), title in columns:
        top.plot(t, asked * scale, **bare("shot"), label="the hand")
        top.plot(t, got * scale, **bare("rig"), label="the carriage")
        low.plot(t, off * scale, **bare("rig"))
        low.fill_between(t, off * scale, color=COLOURS["sky"], alpha=0.5, lw=0)
        top.set_title(title, fontsize=10)
        axis(low.xaxis, "time", "s", (0, t[-1]))
        axis(top.yaxis, "way since the start" if top is axes[0, 0] else "place on the rail", unit)
        axis(low.yaxis, "carriage behind", unit)
    axes[1, 0].axhline(lag * small[1], **bare("limit", linewidth=1.3))
    axes[1, 0].text(0.02, lag * small[1], f"lag {say(lag, small[0])}", va="bottom", transform=axes[1, 0].get_yaxis_transform())
    axes[1, 0].set_ylim(0, 1.3 * lag * small[1])
    for ax in axes[:, 0]:
        ax.axvline(4 * stop, color="#666666", lw=1, ls=":")
    axes[0, 0].text(4.1 * stop, 0.04, f"the hand rests:\ncoast {say(lag, small[0])}", transform=axes[0, 0].get_xaxis_transform())
    axes[0, 0].legend(loc="center right", handlelength=3)
    _marks(axes[0, 1], marks)
    for pair in axes.T:
        fig.align_ylabels(pair)
    return Picture(fig, f"Left, enlarged: set-point and carriage for a hand at {say(0.8 * speed, 'mm/s')}; the carriage is "
                        f"{say(lag, small[0])} behind and coasts as far when the hand rests. Right: an unsteady hand between "
                        f"{say(marks[0], 'mm')} and {say(marks[1], 'mm')} in {say(times[-1], 's')}; the carriage is at most "
                        f"{say(np.abs(behind).max(), 'mm')} behind and ends {say(abs(behind[-1]), 'mm')} from the hand.")
