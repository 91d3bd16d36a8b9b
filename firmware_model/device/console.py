"""The console: lines in IEEE 488.2 and SCPI-99 syntax over any stream of bytes.

`feed` takes bytes, `serve` is called from the main loop; both run between ticks. What
a line asks for stands in `console_commands` and `adjust_table`. Bad lines change
nothing and queue an error; a line is executed up to its first error.
"""

from firmware_model.device.adjust_table import ADJUSTMENTS
from firmware_model.device.calibrate import CURRENT, PRESSURE, Calibration
from firmware_model.device.console_commands import COMMANDS, COMMON
from firmware_model.device.console_settings import change_setting, tell_setting
from firmware_model.device.refusal import Refusal
from firmware_model.device.scpi_status import (
    BUFFER_OVERRUN,
    COMMAND_PROTECTED,
    INVALID_CHARACTER,
    MNEMONIC_TOO_LONG,
    SUFFIX_OUT_OF_RANGE,
    SYNTAX_ERROR,
    SYSTEM_ERROR,
    UNDEFINED_HEADER,
    Status,
)
from firmware_model.device.scpi_text import (
    MOST_MNEMONIC,
    header_matches,
    split_parameters,
    split_units,
    without_suffix,
)
from firmware_model.device.stream import Stream
from firmware_model.law.arith import const

_LINE_BYTES = const(256)
_NEWLINE = const(10)
_RETURN = const(13)
_CONDITION = const(47)
_HELD = const(49)
_WISH = const(43)
_RUNNING = const(1)
_STOPPED = const(2)

# Bits of the operation register; 8 and above are free for a device's own.
_CALIBRATING = const(1)
_SETTLING = const(2)
_AUTOMATIC = const(256)
_FAULT = const(2_048)
_TUNING = const(4_096)


class Console:
    """One console of one device.

    Parameters
    ----------
    device : Device
    send : callable
        Takes an answer, bytes with its newline.
    identity : str
        Answer to ``*IDN?``: four fields.
    relay : Relay, optional
        Self-tuning.
    """

    def __init__(self, device, send, identity: str, relay=None) -> None:
        self.device = device
        self.send = send
        self.identity = identity
        self.relay = relay
        self.status = Status()
        self.stream = Stream(device.state)
        self.calibrations = (
            Calibration(device, CURRENT),
            Calibration(device, PRESSURE),
        )
        self.is_protected = True
        self.line = bytearray(_LINE_BYTES)
        self.length = 0
        self.overrun = False

    def feed(self, byte: int) -> None:
        """Take one byte of a line; its newline executes it."""
        if byte == _NEWLINE:
            length, self.length = self.length, 0
            if self.overrun:
                self.overrun = False
                self.status.report(BUFFER_OVERRUN)
            else:
                self.execute(bytes(self.line[:length]))
        elif byte != _RETURN:
            if self.length < _LINE_BYTES:
                self.line[self.length] = byte
                self.length += 1
            else:
                self.overrun = True

    def serve(self) -> None:
        """Follow registers, calibrations and the stream; call it often."""
        self.follow()
        for calibration in self.calibrations:
            calibration.serve()
        line = self.stream.line()
        if line:
            self.send((line + "\n").encode())

    def follow(self) -> None:
        """Bring the registers up to date."""
        state = self.device.state
        self.status.questionable.follow(int(state[_HELD]))
        condition = _AUTOMATIC << state[_WISH]
        if state[_CONDITION] == _STOPPED:
            condition = _FAULT
        elif state[_CONDITION] != _RUNNING:
            condition = _SETTLING
        for calibration in self.calibrations:
            if calibration.taking >= 0:
                condition |= _CALIBRATING
        if self.relay is not None and self.relay.is_running():
            condition |= _TUNING
        self.status.operation.follow(condition)

    def execute(self, line: bytes) -> None:
        """Execute a line, without its newline; answer what it asks."""
        answers: list[str] = []
        self.follow()
        try:
            self._execute_units(self._text(line), answers)
        except Refusal as refusal:
            self.status.report(refusal.error, refusal.detail)
        except Exception as error:
            # Whatever went wrong, the next line is served; the tick is elsewhere.
            self.status.report(SYSTEM_ERROR, type(error).__name__)
        if answers:
            self.send((";".join(answers) + "\n").encode())

    def _text(self, line: bytes) -> str:
        for byte in line:
            if not (byte == 9 or 32 <= byte < 127):
                raise Refusal(INVALID_CHARACTER)
        return line.decode()

    def _execute_units(self, text: str, answers: "list[str]") -> None:
        path: list[str] = []
        for unit in split_units(text):
            said = unit.strip()
            if said:
                path = self._execute_unit(said, path, answers)

    def _execute_unit(self, said: str, path: "list[str]", answers: "list[str]"):
        """Execute one unit; return the path that the next one starts at."""
        header, _, rest = said.replace("\t", " ").partition(" ")
        parameters = split_parameters(rest)
        is_query = header.endswith("?")
        header = (header[:-1] if is_query else header).upper()
        if header.startswith("*"):
            self._run(_common(header), is_query, parameters, answers)
            return path
        if header.startswith(":"):
            path, header = [], header[1:]
        nodes = path + [_checked(node) for node in header.split(":")]
        command = _matching(nodes, COMMANDS)
        if command is not None:
            self._run(command, is_query, parameters, answers)
        else:
            self._run_setting(nodes, is_query, parameters, answers)
        return nodes[:-1]

    def _run(self, row, is_query: bool, parameters, answers: "list[str]") -> None:
        header, setter, getter, is_guarded = row
        if is_query and getter is not None:
            answers.append(getter(self, parameters))
        elif is_query or setter is None:
            raise Refusal(UNDEFINED_HEADER, header + ("?" if is_query else ""))
        else:
            self._guard(is_guarded)
            setter(self, parameters)

    def _run_setting(self, nodes, is_query: bool, parameters, answers) -> None:
        row = _matching(nodes, ADJUSTMENTS)
        if row is None:
            raise Refusal(UNDEFINED_HEADER, ":".join(nodes))
        if is_query:
            answers.append(tell_setting(self, row, parameters))
        else:
            self._guard(True)
            change_setting(self, row, parameters)

    def _guard(self, is_guarded: bool) -> None:
        if is_guarded and self.is_protected:
            raise Refusal(COMMAND_PROTECTED, "SYSTem:PROTection OFF lifts it")


def _common(header: str):
    """Find a common command."""
    for row in COMMON:
        if row[0] == header:
            return row
    raise Refusal(UNDEFINED_HEADER, header)


def _matching(nodes: "list[str]", rows):
    """Find the row of a header, or nothing."""
    for row in rows:
        if header_matches(nodes, row[0]):
            return row
    return None


def _checked(node: str) -> str:
    """Check one mnemonic; take off the numeric suffix 1, which may be left out."""
    name, suffix = without_suffix(node)
    if len(name) > MOST_MNEMONIC:
        raise Refusal(MNEMONIC_TOO_LONG, name)
    if not name or not all("A" <= letter <= "Z" for letter in name):
        raise Refusal(SYNTAX_ERROR, node)
    if suffix not in ("", "1"):
        raise Refusal(SUFFIX_OUT_OF_RANGE, node)
    return name
