"""The common commands of IEEE 488.2, and the status subsystem of SCPI-99."""

from firmware_model.device.console_settings import none, one, whole
from firmware_model.device.scpi_status import Register
from firmware_model.law.arith import const

_WISH = const(43)
_CHECK_BAD = const(61)
_START_WISH = const(95)
_MASK = const(32_767)
_BYTE = const(255)


def clear(console, parameters) -> None:
    """Empty queue and events."""
    none(parameters)
    console.status.clear()


def reset(console, parameters) -> None:
    """Go back to the mode of start-up, with nothing streamed or half calibrated."""
    none(parameters)
    console.stream.switch(False)
    for calibration in console.calibrations:
        calibration.forget()
    if console.relay is not None:
        console.relay.stop()
    console.device.wish(int(console.device.params[_START_WISH]))


def complete(console, parameters) -> None:
    """Note that all before is done; nothing here goes on behind a line."""
    none(parameters)
    console.status.complete()


def tell_complete(_console, parameters) -> str:
    """Answer that all before is done."""
    none(parameters)
    return "1"


def wait(_console, parameters) -> None:
    """Wait for nothing, as all is done in order."""
    none(parameters)


def tell_identity(console, parameters) -> str:
    """Say who this is."""
    none(parameters)
    return str(console.identity)


def tell_test(console, parameters) -> str:
    """Answer 0 while the parameters in memory are whole, else 1."""
    none(parameters)
    return str(int(console.device.state[_CHECK_BAD]))


def set_standard_enable(console, parameters) -> None:
    """Set the mask of the standard events."""
    console.status.standard_enable = whole(one(parameters), 0, _BYTE)


def tell_standard_enable(console, parameters) -> str:
    """Tell the mask of the standard events."""
    none(parameters)
    return str(console.status.standard_enable)


def tell_standard_event(console, parameters) -> str:
    """Tell and clear the standard events."""
    none(parameters)
    return str(console.status.take_standard_event())


def set_service_enable(console, parameters) -> None:
    """Set the mask of the status byte."""
    console.status.service_enable = whole(one(parameters), 0, _BYTE)


def tell_service_enable(console, parameters) -> str:
    """Tell the mask of the status byte."""
    none(parameters)
    return str(console.status.service_enable)


def tell_status_byte(console, parameters) -> str:
    """Tell the status byte."""
    none(parameters)
    return str(console.status.byte())


COMMON = (
    ("*CLS", clear, None, False),
    ("*ESE", set_standard_enable, tell_standard_enable, False),
    ("*ESR", None, tell_standard_event, False),
    ("*IDN", None, tell_identity, False),
    ("*OPC", complete, tell_complete, False),
    ("*RST", reset, None, True),
    ("*SRE", set_service_enable, tell_service_enable, False),
    ("*STB", None, tell_status_byte, False),
    ("*TST", None, tell_test, False),
    ("*WAI", wait, None, False),
)


def tell_next_error(console, parameters) -> str:
    """Take the oldest error."""
    none(parameters)
    return str(console.status.next_error())


def tell_error_count(console, parameters) -> str:
    """Count the errors."""
    none(parameters)
    return str(len(console.status.errors))


def preset(console, parameters) -> None:
    """Take both masks back."""
    none(parameters)
    console.status.questionable.enable = 0
    console.status.operation.enable = 0


def _rows_of(header: str, register_of):
    """Give the rows of one register, questionable or operation."""

    def tell_event(console, parameters) -> str:
        none(parameters)
        return str(_register(console).take_event())

    def tell_condition(console, parameters) -> str:
        none(parameters)
        return str(_register(console).condition)

    def tell_enable(console, parameters) -> str:
        none(parameters)
        return str(_register(console).enable)

    def set_enable(console, parameters) -> None:
        _register(console).enable = whole(one(parameters), 0, _MASK)

    def _register(console) -> Register:
        return register_of(console.status)  # type: ignore[no-any-return]

    return (
        (header, None, tell_event, False),
        (header + ":EVENt", None, tell_event, False),
        (header + ":CONDition", None, tell_condition, False),
        (header + ":ENABle", set_enable, tell_enable, False),
    )


_OWN = (
    ("SYSTem:ERRor", None, tell_next_error, False),
    ("SYSTem:ERRor:NEXT", None, tell_next_error, False),
    ("SYSTem:ERRor:COUNt", None, tell_error_count, False),
    ("STATus:PRESet", preset, None, False),
)
STATUS = (
    _OWN
    + _rows_of("STATus:QUEStionable", lambda status: status.questionable)
    + _rows_of("STATus:OPERation", lambda status: status.operation)
)
