"""Errors and status registers of the console, as IEEE 488.2 and SCPI-99 have them.

Numbers and texts are those of SCPI-99, from memory: the standard was not opened.
"""

from firmware_model.law.arith import const

NO_ERROR = const(0)
INVALID_CHARACTER = const(-101)
SYNTAX_ERROR = const(-102)
DATA_TYPE_ERROR = const(-104)
PARAMETER_NOT_ALLOWED = const(-108)
MISSING_PARAMETER = const(-109)
MNEMONIC_TOO_LONG = const(-112)
UNDEFINED_HEADER = const(-113)
SUFFIX_OUT_OF_RANGE = const(-114)
INVALID_NUMBER = const(-121)
INVALID_SUFFIX = const(-131)
SUFFIX_NOT_ALLOWED = const(-138)
COMMAND_PROTECTED = const(-203)
SETTINGS_CONFLICT = const(-221)
OUT_OF_RANGE = const(-222)
ILLEGAL_VALUE = const(-224)
HARDWARE_MISSING = const(-241)
MEMORY_ERROR = const(-311)
SYSTEM_ERROR = const(-310)
QUEUE_OVERFLOW = const(-350)
BUFFER_OVERRUN = const(-363)

TEXTS = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -203: "Command protected",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -241: "Hardware missing",
    -310: "System error",
    -311: "Memory error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}

MOST_ERRORS = const(16)
_MOST_TEXT = const(255)
_OPERATION_COMPLETE = const(1)
_QUERY_ERROR = const(4)
_DEVICE_ERROR = const(8)
_EXECUTION_ERROR = const(16)
_COMMAND_ERROR = const(32)
_POWER_ON = const(128)

_ERROR_QUEUE = const(4)
_QUESTIONABLE = const(8)
_EVENT_SUMMARY = const(32)
_MASTER = const(64)
_OPERATION = const(128)


class Register:
    """A status register with condition, latched events and their enable mask."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0

    def follow(self, condition: int) -> None:
        """Take a new condition; what has come up since the last one is an event."""
        self.event |= condition & ~self.condition
        self.condition = condition

    def take_event(self) -> int:
        """Read the events, which clears them."""
        event, self.event = self.event, 0
        return event


class Status:
    """The error queue and all registers of one console."""

    def __init__(self) -> None:
        self.errors: list[tuple[int, str]] = []
        self.standard_event = int(_POWER_ON)
        self.standard_enable = 0
        self.service_enable = 0
        self.questionable = Register()
        self.operation = Register()

    def report(self, error: int, detail: str = "") -> None:
        """Queue an error; a full queue shows so in its last place."""
        if error > -200:
            self.standard_event |= _COMMAND_ERROR
        elif error > -300:
            self.standard_event |= _EXECUTION_ERROR
        elif error > -400:
            self.standard_event |= _DEVICE_ERROR
        else:
            self.standard_event |= _QUERY_ERROR
        if len(self.errors) < MOST_ERRORS:
            self.errors.append((error, detail))
        else:
            self.errors[-1] = (int(QUEUE_OVERFLOW), "")

    def next_error(self) -> str:
        """Take the oldest error as the standard writes it: one quoted text.

        What was said may have quotes, and be as long as a line: single quotes, and
        at most 255 characters.

        >>> Status().next_error()
        '0,"No error"'
        """
        error, detail = self.errors.pop(0) if self.errors else (0, "")
        text = TEXTS[error] + (";" + detail if detail else "")
        return str(error) + ',"' + text.replace('"', "'")[:_MOST_TEXT] + '"'

    def clear(self) -> None:
        """Empty the queue and all events."""
        self.errors.clear()
        self.standard_event = 0
        self.questionable.event = 0
        self.operation.event = 0

    def complete(self) -> None:
        """Note that all is done."""
        self.standard_event |= _OPERATION_COMPLETE

    def take_standard_event(self) -> int:
        """Read the standard events, which clears them."""
        event, self.standard_event = self.standard_event, 0
        return event

    def byte(self) -> int:
        """Sum everything up in one byte."""
        summary = _ERROR_QUEUE if self.errors else 0
        if self.questionable.event & self.questionable.enable:
            summary |= _QUESTIONABLE
        if self.standard_event & self.standard_enable:
            summary |= _EVENT_SUMMARY
        if self.operation.event & self.operation.enable:
            summary |= _OPERATION
        if summary & self.service_enable:
            summary |= _MASTER
        return summary
