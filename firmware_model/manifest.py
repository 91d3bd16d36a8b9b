"""Board files for a firmware build; `package.json` names the same for `mip`.

`metadata` and `package` are functions of the tool that reads this file.
"""

FILES = (
    "__init__.py",
    "boards/__init__.py",
    "boards/main_esp32.py",
    "boards/main_microbit.py",
    "boards/main_rp2.py",
    "boards/main_stm32.py",
    "boards/pilot.py",
    "boards/pins.py",
    "device/__init__.py",
    "device/banks_file.py",
    "device/banks_flash.py",
    "device/block.py",
    "device/crc.py",
    "device/store.py",
    "law/__init__.py",
    "law/arith.py",
    "law/command.py",
    "law/drive.py",
    "law/layout.py",
    "law/output.py",
    "law/pid.py",
    "law/sense.py",
    "law/supply.py",
    "law/tick.py",
)

metadata(version="0.1.0")  # type: ignore[name-defined]  # noqa: F821
package("firmware_model", FILES, base_path="..")  # type: ignore[name-defined]  # noqa: F821
