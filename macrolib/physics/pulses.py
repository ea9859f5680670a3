"""When the pulses of a move are due, and what timers and short arithmetic make of it."""

import numpy as np

__all__ = ["pulse_times"]

_CHUNK = 1 << 15  # pulses a time: what is computed stays in the processor's cache, and memory stays small


def pulse_times(move, travel_per_pulse):
    """Times (s) of the pulses of one move, as an array, for a travel per pulse in m.

    Pulse k = 1, 2, ... is due when the travel passes (k - 1/2) times the travel per pulse, in either
    direction, so that the carriage is never more than half a pulse from the wanted place.
    """
    if np.ndim(move.distance):
        raise ValueError(f"pulse_times takes one move, not an array of {np.size(move.distance)}")
    if not 0 < travel_per_pulse < np.inf:
        raise ValueError(f"travel_per_pulse is {travel_per_pulse:g} m; allowed: finite numbers above 0")
    times = np.empty(int(np.floor(abs(move.distance) / travel_per_pulse + 0.5)))
    step = np.copysign(travel_per_pulse, move.distance)
    for first in range(0, times.size, _CHUNK):
        part = times[first:first + _CHUNK]
        travel = (np.arange(first, first + part.size) + 0.5) * step
        part[:] = move.time_at(np.clip(travel, min(move.distance, 0), max(move.distance, 0)))
    return times
