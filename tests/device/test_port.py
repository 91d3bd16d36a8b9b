"""One line for console and link: neither disturbs the other."""

from console_pilot import ConsolePilot

from firmware_model.device.link import Link
from firmware_model.device.port import Port
from host_sim.device.link import DeviceLink


class SharedLine:
    """A line to a pilot whose port serves console and link."""

    name, remedy, text = "shared", "none", True

    def __init__(self):
        self.pilot = ConsolePilot()
        self.came = bytearray()
        self.pilot.console.send = self.came.extend
        link = Link(self.pilot.device, True, False)
        self.port = Port(link, self.pilot.console, self.came.extend)

    def send(self, raw):
        for byte in raw:
            self.port.take(byte)

    def receive(self, wait_s):
        came = bytes(self.came)
        self.came.clear()
        return came

    def close(self):
        pass


def test_port_serves_link_and_console_in_turn():
    line = SharedLine()
    with DeviceLink(line) as link:
        for k in range(20):
            line.send(b"*IDN?\n")
            assert line.receive(0.0).startswith(b"integer-pilot,")
            line.pilot.tick()
            assert link.read_state()["TICKS"] == k + 1
        line.send(b"SYST:PROT OFF;:SOUR:PRES:DEAD 2\n")
        assert link.read_block()["DEADBAND"] == 500


def test_port_of_a_broken_frame_stays_with_the_link_until_its_end():
    line = SharedLine()
    before = line.pilot.words()
    line.send(b"!SYST:PROT OFF;:SOUR:PRES:DEAD 2\n")
    assert line.pilot.console.is_protected
    line.send(b"*OPC?\n")
    assert line.receive(0.0) == b"1\n"
    assert line.pilot.words() == before
