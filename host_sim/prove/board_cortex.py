"""The exported C law on emulated Cortex-M0 and Cortex-M3 processors, bare metal.

The same `replay.c` as on the host; it reads its file and prints through the
emulator's semihosting.
"""

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from host_sim.prove.c_engines import C99, REPLAY, write_c99
from host_sim.prove.emulator import run_to_end
from host_sim.prove.engine import Engine, EngineError, call, lacking

EMULATOR = "qemu-system-arm"
COMPILER = "arm-none-eabi-gcc"
SIZE = "arm-none-eabi-size"
REMEDY = (
    "apt install qemu-system-arm gcc-arm-none-eabi libnewlib-arm-none-eabi (Debian)"
)
_START = Path(__file__).with_name("board_cortex.c")
_MEMORY = _START.with_suffix(".ld")
_TIMEOUT_S = 600.0


@dataclass(frozen=True)
class Processor:
    """A processor, and the emulator's board that has it."""

    name: str
    option: str
    machine: str

    @property
    def flags(self) -> tuple[str, ...]:
        """Options of the compiler."""
        return (self.option, "-mthumb", "-Os", "-ffunction-sections", *C99, "-Werror")


CORTEX_M0 = Processor("Cortex-M0", "-mcpu=cortex-m0", "microbit")
CORTEX_M3 = Processor("Cortex-M3", "-mcpu=cortex-m3", "mps2-an385")


def build_program(
    processor: Processor, sources: list[Path], program: Path, *options: str
) -> None:
    """Compile C sources with the start-up code; any warning is an error.

    Raises
    ------
    EngineError
        The compiler's own words.
    """
    files = [str(source) for source in (*sources, _START)]
    library = ["--specs=nano.specs", "--specs=rdimon.specs", "-Wl,--gc-sections"]
    link = ["-nostartfiles", f"-T{_MEMORY}", "-o", str(program)]
    call([COMPILER, *processor.flags, *options, *files, *library, *link])


def code_bytes(processor: Processor, source: Path, *options: str) -> int:
    """Compile one source; return the bytes of its code and constants.

    Raises
    ------
    EngineError
        The compiler's own words.
    """
    with tempfile.TemporaryDirectory() as name:
        target = str(Path(name) / "source.o")
        call([COMPILER, *processor.flags, *options, "-c", str(source), "-o", target])
        return int(call([SIZE, target]).splitlines()[1].split()[0])


def run_program(
    processor: Processor, program: Path, episodes: Path, *options: str
) -> list[str]:
    """Run a program that reads the file ``episodes`` beside it; return its lines.

    Raises
    ------
    EngineError
        It failed or did not end in time.
    """
    folder = program.parent
    if episodes != folder / "episodes":
        shutil.copy(episodes, folder / "episodes")
    command = [EMULATOR, "-M", processor.machine, "-kernel", program.name, *options]
    command += ["-display", "none", "-monitor", "none", "-serial", "none"]
    command += ["-semihosting-config", "enable=on,target=native"]
    return run_to_end(command, folder, _TIMEOUT_S).splitlines()


def _run(processor: Processor, path: Path, law: str) -> list[str]:
    if law != "law":
        raise EngineError("compiled code has no heap that could be locked")
    with tempfile.TemporaryDirectory() as name:
        program = Path(name) / "replay.elf"
        sources = [write_c99(program.parent), REPLAY]
        build_program(processor, sources, program, f"-I{name}")
        return run_program(processor, program, path)


def _engine(processor: Processor) -> Engine:
    return Engine(
        f"C99, emulated {processor.name}",
        REMEDY,
        lambda: lacking((EMULATOR, COMPILER), ()),
        lambda path, law: _run(processor, path, law),
    )


CORTEX_ENGINES = (_engine(CORTEX_M0), _engine(CORTEX_M3))
