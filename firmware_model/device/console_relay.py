"""The console's part of self-tuning."""

from firmware_model.device.console_settings import none
from firmware_model.device.refusal import Refusal
from firmware_model.device.scpi_status import HARDWARE_MISSING, SETTINGS_CONFLICT


def _relay(console):
    if console.relay is None:
        raise Refusal(HARDWARE_MISSING, "this board has no self-tuning")
    return console.relay


def start(console, parameters) -> None:
    """Begin a relay test."""
    none(parameters)
    error = _relay(console).start()
    if error:
        raise Refusal(error, "running in AUTomatic, RELay:SIZE of room either side")


def stop(console, parameters) -> None:
    """End a relay test."""
    none(parameters)
    _relay(console).stop()


def tell_state(console, parameters) -> str:
    """Tell how far it is, or why it ended."""
    none(parameters)
    return str('"' + _relay(console).words() + '"')


def tell_proposal(console, parameters) -> str:
    """Tell the words that would be taken: slot, word, slot, word."""
    none(parameters)
    edits = _relay(console).propose()
    if not edits:
        raise Refusal(SETTINGS_CONFLICT, "no finished test, or its gains do not fit")
    return ",".join([str(slot) + "," + str(word) for slot, word in edits])


def accept(console, parameters) -> None:
    """Take what is proposed."""
    none(parameters)
    error = _relay(console).accept()
    if error:
        raise Refusal(error, "no finished test, or its gains do not fit")


RELAY = (
    ("SOURce:PRESsure:RELay", None, tell_state, False),
    ("SOURce:PRESsure:RELay:STARt", start, None, True),
    ("SOURce:PRESsure:RELay:STOP", stop, None, False),
    ("SOURce:PRESsure:RELay:PROPosal", None, tell_proposal, False),
    ("SOURce:PRESsure:RELay:ACCept", accept, None, True),
)
