"""What the console does besides settings: one row a command, roots of SCPI-99.

A row has the header, what a command does, what a query answers, and whether
protection must be lifted first. Below the standard roots the words are our own.
"""

from array import array

from firmware_model.device.calibrate import LEAST_COUNTS, READINGS
from firmware_model.device.console_common import COMMON, STATUS
from firmware_model.device.console_relay import RELAY
from firmware_model.device.console_settings import (
    chosen,
    in_words,
    none,
    numeric,
    one,
    parameter_word,
    whole,
)
from firmware_model.device.device import MANUAL
from firmware_model.device.faults import FAULTS, LABEL
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.refusal import Refusal
from firmware_model.device.scpi_status import (
    ILLEGAL_VALUE,
    MEMORY_ERROR,
    MISSING_PARAMETER,
    OUT_OF_RANGE,
    SETTINGS_CONFLICT,
)
from firmware_model.device.scpi_text import matches, ratio_text
from firmware_model.device.stream import SIGNALS, signal_text
from firmware_model.law.arith import const

_FULL = const(25_000)
_DEMAND = const(4)
_TICKS = const(6)
_ACTIVE = const(35)
_WISH = const(43)
_CONDITION = const(47)
_RUNNING = const(1)
_HELD = const(49)
_FIRST = const(50)
_LATE_WEIGHT = const(56)
_SUPPLY = const(20)
_OUTPUT_LOW = const(83)
_OUTPUT_HIGH = const(84)
_MOST_EVERY = const(100_000)
MODES = ("AUTomatic", "MANual", "HOLD")
ACTIVES = ("AUTOMATIC", "MANUAL", "HOLD", "FAULT", "START", "SHUT")
CONDITIONS = ("START", "RUN", "FAULT", "START")
NO_YES = ("OFF", "ON")
SUFFIX_OF_POINT = ("MA", "PCT")
# Words a milliampere and a percent.
WORDS_OF_POINT = (1_000, 250)


def _teller(slot: int, bottom: int, places: int):
    """Make the answer to a query of one state word."""

    def tell(console, parameters) -> str:
        none(parameters)
        return ratio_text(console.device.state[slot], bottom, places)

    return tell


def tell_supply(console, parameters) -> str:
    """Tell the supply in percent of the reference supply."""
    none(parameters)
    return ratio_text(100 * console.device.state[_SUPPLY], 16_384, 2)


def set_mode(console, parameters) -> None:
    """Ask for a mode."""
    console.device.wish(chosen(one(parameters), MODES))


def tell_mode(console, parameters) -> str:
    """Tell the mode asked for."""
    none(parameters)
    return MODES[console.device.state[_WISH]].upper()


def set_level(console, parameters) -> None:
    """Set the manual output: a number, MINimum, MAXimum, or DEFault, which is 0."""
    device, text = console.device, one(parameters)
    low, high = int(device.params[_OUTPUT_LOW]), int(device.params[_OUTPUT_HIGH])
    words = 0
    for name, end in (("MINimum", low), ("MAXimum", high), ("DEFault", 0)):
        if matches(text.upper(), name):
            words = end
            break
    else:
        number = array("i", (0, 0))
        numeric(text, "PCT", number)
        words = in_words(number, 250)
    if device.state[_WISH] != MANUAL or device.state[_CONDITION] != _RUNNING:
        raise Refusal(SETTINGS_CONFLICT, "only in OUTPut:MODE MANual, without a fault")
    if not low <= words <= high:
        ends = ratio_text(low, 250, 2) + " ... " + ratio_text(high, 250, 2)
        raise Refusal(OUT_OF_RANGE, ends + " PCT")
    device.demand(words)


def tell_active(console, parameters) -> str:
    """Tell who commands the output."""
    none(parameters)
    return ACTIVES[console.device.state[_ACTIVE]]


def tell_condition(console, parameters) -> str:
    """Tell start-up, running or fault."""
    none(parameters)
    return CONDITIONS[console.device.state[_CONDITION]]


def tell_faults(console, parameters) -> str:
    """List the faults that count, in quotes; an empty text without any."""
    none(parameters)
    held = console.device.state[_HELD]
    found = [
        '"' + str(fault[LABEL]) + '"'
        for row, fault in enumerate(FAULTS)
        if held >> row & 1
    ]
    return ",".join(found) or '""'


def confirm(console, parameters) -> None:
    """Say that a person has seen the faults."""
    none(parameters)
    console.device.confirm()


def protect(console, parameters) -> None:
    """Lift the protection, or put it back."""
    console.is_protected = bool(chosen(one(parameters), NO_YES))


def tell_protection(console, parameters) -> str:
    """Tell whether changes are refused."""
    none(parameters)
    return "1" if console.is_protected else "0"


def tell_version(_console, parameters) -> str:
    """Tell the year of the standard that the syntax follows."""
    none(parameters)
    return "1999.0"


def save(console, parameters) -> None:
    """Store the parameters."""
    none(parameters)
    try:
        console.device.save()
    except OSError:
        raise Refusal(MEMORY_ERROR, "the old block is still there") from None


def restore(console, parameters) -> None:
    """Go back to the stored parameters."""
    none(parameters)
    console.device.restore()


def take_factory(console, parameters) -> None:
    """Take the factory's parameters."""
    none(parameters)
    console.device.take_factory()


def tell_unsaved(console, parameters) -> str:
    """Tell whether there is something to save."""
    none(parameters)
    return "1" if console.device.unsaved else "0"


def tell_word(console, parameters) -> str:
    """Tell a parameter's word by its place in the block."""
    return str(console.device.params[parameter_word(one(parameters))])


def set_word(console, parameters) -> None:
    """Change a parameter's word: its place, then the word."""
    if len(parameters) != 2:
        raise Refusal(MISSING_PARAMETER, "place, word")
    slot = parameter_word(parameters[0])
    low, high = DEVICE_PARAMETERS[slot][1]
    word = whole(parameters[1], low, high)
    if console.device.change(((slot, word),)) >= 0:
        raise Refusal(SETTINGS_CONFLICT, str(DEVICE_PARAMETERS[slot][0]))


def switch_stream(console, parameters) -> None:
    """Begin or end the stream."""
    console.stream.switch(bool(chosen(one(parameters), NO_YES)))


def tell_stream(console, parameters) -> str:
    """Tell whether there is a stream."""
    none(parameters)
    return "1" if console.stream.is_on else "0"


def set_every(console, parameters) -> None:
    """Set the ticks from line to line."""
    console.stream.every = whole(one(parameters), 1, _MOST_EVERY)


def tell_every(console, parameters) -> str:
    """Tell the ticks from line to line."""
    none(parameters)
    return str(console.stream.every)


def set_signals(console, parameters) -> None:
    """Choose what is streamed."""
    if not parameters:
        raise Refusal(MISSING_PARAMETER)
    names = [row[0] for row in SIGNALS]
    if len(parameters) > len(names):
        raise Refusal(ILLEGAL_VALUE, ", ".join(names))
    console.stream.signals = [SIGNALS[chosen(name, names)] for name in parameters]


def tell_signals(console, parameters) -> str:
    """Tell what is streamed."""
    none(parameters)
    return ",".join([row[0].upper() for row in console.stream.signals])


def tell_sample(console, parameters) -> str:
    """Tell the signals of the stream once."""
    none(parameters)
    state = console.device.state
    return ",".join([signal_text(state, row) for row in console.stream.signals])


def tell_dropped(console, parameters) -> str:
    """Count the lines that the stream has lost."""
    none(parameters)
    return str(console.stream.dropped)


def _calibration_rows(header: str, which: int):
    """Give the rows that calibrate one converter."""

    def _take(console, parameters, point: int) -> None:
        number = array("i", (0, 0))
        numeric(one(parameters), SUFFIX_OF_POINT[which], number)
        digits, exponent = number
        top = digits * WORDS_OF_POINT[which] * 10 ** max(exponent, 0)
        bottom = 10 ** max(-exponent, 0)
        if abs(top) > _FULL * bottom * 2:
            raise Refusal(OUT_OF_RANGE, "no true value of this converter")
        console.calibrations[which].take(point, top, bottom)

    def take_low(console, parameters) -> None:
        _take(console, parameters, 0)

    def take_high(console, parameters) -> None:
        _take(console, parameters, 1)

    def apply(console, parameters) -> None:
        none(parameters)
        error = console.calibrations[which].apply()
        if error:
            least = str(LEAST_COUNTS) + " counts apart, low below high"
            raise Refusal(error, "both points read, " + least)

    def tell_left(console, parameters) -> str:
        none(parameters)
        low, high = console.calibrations[which].readings
        return str(READINGS - low) + "," + str(READINGS - high)

    return (
        (header + ":LOW", take_low, None, True),
        (header + ":HIGH", take_high, None, True),
        (header + ":APPLy", apply, None, True),
        (header + ":LEFT", None, tell_left, False),
    )


_OWN = (
    ("SYSTem:VERSion", None, tell_version, False),
    ("SYSTem:PROTection", protect, tell_protection, False),
    ("SYSTem:CONDition", None, tell_condition, False),
    ("SYSTem:FAULt", None, tell_faults, False),
    ("SYSTem:FAULt:FIRSt", None, _teller(_FIRST, 1, 0), False),
    ("SYSTem:FAULt:CONFirm", confirm, None, False),
    ("SYSTem:TICKs", None, _teller(_TICKS, 1, 0), False),
    ("SYSTem:LATE", None, _teller(_LATE_WEIGHT, 1, 0), False),
    ("SENSe:CURRent", None, _teller(12, 1_000, 3), False),
    ("SENSe:PRESsure", None, _teller(17, 250, 2), False),
    ("SENSe:SUPPly", None, tell_supply, False),
    ("SENSe:DATA", None, tell_sample, False),
    ("SENSe:DATA:SIGNals", set_signals, tell_signals, False),
    ("SENSe:DATA:EVERy", set_every, tell_every, False),
    ("SENSe:DATA:STReam", switch_stream, tell_stream, False),
    ("SENSe:DATA:DROPped", None, tell_dropped, False),
    ("SOURce:PRESsure", None, _teller(15, 250, 2), False),
    ("SOURce:PRESsure:TARGet", None, _teller(13, 250, 2), False),
    ("OUTPut", None, _teller(36, 250, 2), False),
    ("OUTPut:DRIVe:NOW", None, _teller(38, 250, 2), False),
    ("OUTPut:MODE", set_mode, tell_mode, True),
    ("OUTPut:LEVel", set_level, _teller(_DEMAND, 250, 2), True),
    ("OUTPut:ACTive", None, tell_active, False),
    ("MEMory:SAVE", save, None, True),
    ("MEMory:RESTore", restore, None, True),
    ("MEMory:FACTory", take_factory, None, True),
    ("MEMory:UNSaved", None, tell_unsaved, False),
    ("MEMory:WORD", set_word, tell_word, True),
)
_CALIBRATION = _calibration_rows("CALibration:CURRent", 0) + _calibration_rows(
    "CALibration:PRESsure", 1
)
COMMANDS = STATUS + _OWN + _CALIBRATION + RELAY

__all__ = ["COMMANDS", "COMMON"]
