"""Light: what the effective aperture asks for, from a metered exposure, and ambient light beside flash."""

from macrolib.formula import Formula, Symbol
from macrolib.physics.optics import effective_f_number
from macrolib.physics.symbols import effective_f_number as _Ne
from macrolib.physics.symbols import f_number, magnification, pupil_ratio

__all__ = ["exposure_factor", "light_ratio", "mixed_transfer"]

exposure_factor = Formula(
    Symbol("exposure_factor", "1", "times as much light as the marked f-number asks for", "k_e", least=1),
    (effective_f_number.expression / f_number)**2, (magnification, pupil_ratio),
    "Jacobson, Photographic Lenses Tutorial (1995)", "log2 of it is the number of stops")
_met_Ne = Symbol("metered_f_number", "1", "effective f-number at which it was metered", "N_0", above=0)
_speed = Symbol("sensitivity", "1", "sensitivity (ISO speed) that is set", "S", above=0)
_met_speed = Symbol("metered_sensitivity", "1", "sensitivity at which it was metered", "S_0", above=0)
light_ratio = Formula(
    Symbol("light_ratio", "1", "factor for the metered exposure time, or for the flash energy", "k_l", above=0),
    (_Ne / _met_Ne)**2 * _met_speed / _speed, (_Ne, _met_Ne, _speed, _met_speed),
    "light at the sensor goes with 1 / N_e^2", "the same lamp at the same place; both f-numbers are effective ones")
_share = Symbol("ambient_share", "1", "share of the exposure that ambient light gives", "a", least=0, most=1)
_ambient = Symbol("ambient_transfer", "1", "transfer of the motion over the whole exposure", "M_a", least=-1, most=1)
_flash = Symbol("flash_transfer", "1", "transfer of the motion during the flash", "M_f", least=-1, most=1)
mixed_transfer = Formula(
    Symbol("mixed_transfer", "1", "transfer of ambient light and flash together", "M_x", least=-1, most=1),
    _share * _ambient + (1 - _share) * _flash, (_share, _ambient, _flash), "light adds up, so transfers add by share",
    "flash in the middle of the motion; share: exposure time over the time that ambient light alone asks for")
