"""The store on the emulated 16-KB board, on its own flash, which can be stopped.

That board takes one function at a time and has no room for annotations, so the
source is folded here: constants become numbers, and what means nothing at run time
goes. The flash is the processor's own controller (nRF51: pages of 1024 bytes,
programmed by words of 4 bytes); it raises an error after as many words as it was
told.
"""

import ast
from importlib import import_module
from pathlib import Path

from firmware_model.device.layout import DEVICE_PARAMETERS

MODULES = ("crc", "block", "banks_flash", "store")
# A page that neither the firmware nor its files use; the next one is bank 1.
PAGE = 0x3F000
TICK_US = 50_000
# As many parameters as there is room for.
ROWS = [(str(slot), *row[1:3]) for slot, row in enumerate(DEVICE_PARAMETERS[:6])]

# What goes there needs no room: frames and what only larger boards have.
_LEFT_OUT = ("crc16", "DeviceFlash", "_require")
_IMPORTS = "from array import array\nfrom machine import mem8, mem32\n"
_FLASH = (
    "class Flash:\n page_bytes = 1024\n unit_bytes = 4\n left = -1\n",
    """\
def m(self, address, buffer):
 for k in range(len(buffer)):
  buffer[k] = mem8[address + k]
Flash.read = m
""",
    """\
def m(self, address, unit):
 if self.left == 0:
  raise RuntimeError
 self.left -= 1
 word = unit[3]
 for k in (2, 1, 0):
  word = word << 8 | unit[k]
 mem32[0x4001E504] = 1
 mem32[address] = word
 mem32[0x4001E504] = 0
Flash.program = m
""",
    """\
def m(self, address):
 mem32[0x4001E504] = 2
 mem32[0x4001E508] = address
 mem32[0x4001E504] = 0
Flash.erase = m
""",
)
# Takes a first word and after how many words power fails, and starts again.
SAVES = """\
s.load(w)
for _ in range({saves}):
 w[0], f.left = take(2)
 try:
  s.save(w)
 except RuntimeError:
  pass
 f.left = -1
 s.load(w)
 uart.write(b'=')
 uart.write(w)
"""


def fold(name):
    """Fold a module of the device into pieces that the board takes one by one."""
    module = import_module(f"firmware_model.device.{name}")
    constants = {key: word for key, word in vars(module).items() if type(word) is int}
    folding = _Fold(constants)
    pieces = []
    for part in ast.parse(Path(module.__file__).read_text()).body:
        if _name(part) in _LEFT_OUT or _name(part) in constants:
            continue
        if isinstance(part, ast.ClassDef):
            pieces.append(f"class {part.name}:\n pass\n")
            pieces += [_method(part.name, folding.visit(one)) for one in part.body[1:]]
        elif isinstance(part, ast.FunctionDef):
            pieces.append(_text(folding.visit(part)))
        elif isinstance(part, ast.Assign) and isinstance(part.value, ast.Call):
            pieces.append(_text(part))
    return pieces


def send_names(line):
    """Make all names at once: a name space that grows late finds no room."""
    pieces = [piece for name in MODULES for piece in fold(name)]
    names = {_name(ast.parse(piece).body[0]) for piece in (*pieces, *_FLASH)}
    names -= {"Flash"}
    line.load(" = ".join([*sorted(names), *"fwsL"]) + " = None\n")


def measure_heap(line):
    """Send the modules in turn; return what each takes of the heap [bytes]."""
    send_names(line)
    line.load(_IMPORTS)
    costs = {}
    for name in MODULES:
        before = line.free_bytes()
        for piece in fold(name):
            line.load(piece)
        costs[name] = before - line.free_bytes()
    return costs


def start_store(line):
    """Send everything, the longest functions first, and make the store ``s``."""
    send_names(line)
    pieces = [piece for name in MODULES for piece in fold(name)] + [*_FLASH]
    classes = [piece for piece in pieces if piece.startswith("class")]
    rest = [piece for piece in pieces if piece not in classes]
    layout = (1, tuple(ROWS), (("3", "4"),), ())
    for piece in (_IMPORTS, f"L = {layout}\n", *classes):
        line.load(piece)
    for piece in sorted(rest, key=len, reverse=True):
        line.load(piece)
    line.load(f"w = array('i', [0] * {len(ROWS)})\nf = Flash()\n")
    line.load(f"s = Store(FlashBanks(f, {PAGE}, 1024), {TICK_US}, L)\n")
    line.drop_loader()


def _name(part):
    if isinstance(part, ast.Assign):
        return part.targets[0].id
    return getattr(part, "name", "")


def _text(part):
    return ast.unparse(part).replace("    ", " ") + "\n"


def _method(owner, function):
    name, function.name = function.name, "m"
    return f"{_text(function)}{owner}.{name} = m\n"


class _Fold(ast.NodeTransformer):
    def __init__(self, constants):
        self.constants = constants

    def visit_Name(self, node):
        if node.id in self.constants:
            return ast.Constant(self.constants[node.id])
        return node

    def visit_FunctionDef(self, node):
        if ast.get_docstring(node) is not None:
            node.body = node.body[1:]
        node.returns, node.args.defaults = None, []
        return self.generic_visit(node)

    def visit_arg(self, node):
        return ast.arg(node.arg)

    def visit_Call(self, node):
        self.generic_visit(node)
        is_int = isinstance(node.func, ast.Name) and node.func.id == "int"
        return node.args[0] if is_int else node
