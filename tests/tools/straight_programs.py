"""Random small programs of the subset that straight code has, as source text.

Every program runs on CPython without an error and stays within 32 bits: integers
are limited after each operation that could grow them, divisions and conversions are
guarded by the very branches that are to be tested.
"""

import importlib.util

PARAMETERS = "n, i, x, wholes, reals, codes, levels"
HEAD = """\
import math


def limit(a):
    if a > 30_000:
        return 30_000
    return max(a, -30_000)


"""
TABLE = 8
"""Elements of each array."""


class Program:
    """Draws one program: some helpers, and `main`, which calls them.

    Parameters
    ----------
    random : random.Random

    Attributes
    ----------
    text : str
    """

    def __init__(self, random):
        self.random = random
        self.helpers = []
        self.names = 0
        parts = [self._function(f"helper_{k}") for k in range(random.randint(0, 2))]
        parts.append(self._function("main"))
        self.text = HEAD + "\n\n".join(parts)

    # -- statements ------------------------------------------------------------

    def _function(self, name):
        """Write a function; the helpers give a number of one kind."""
        self.kind = self.random.choice(("int", "float"))
        self.scope = {"int": ["n", "i"], "float": ["x"]}
        self.is_main = name == "main"
        self.fixed = set()
        self.budget = 14 if self.is_main else 7
        lines = [f"def {name}({PARAMETERS}):"]
        lines += self._block(1, self.random.randint(2, 6), top=self.is_main)
        if not self.is_main:
            lines.append(f"    return {self._expression(self.kind, 2)}")
            self.helpers.append((name, self.kind))
        return "\n".join(lines) + "\n"

    def _block(self, depth, count, *, top=False, fixed=False):
        """Write statements; ``fixed``: no name from outside is assigned."""
        outside = {kind: list(names) for kind, names in self.scope.items()}
        before = self.fixed
        if fixed:
            self.fixed = before | {*outside["int"], *outside["float"]}
        lines = []
        for _ in range(count):
            self.budget -= 1
            lines += self._statement(depth, top=top)
        self.fixed = before
        if not top:
            self.scope = outside
        return lines

    def _statement(self, depth, *, top):
        kinds = ["name", "name", "change", "element", "element", "swap"]
        if self.budget > 0 and depth < 4:
            kinds += ["if", "if", "if", "for"]
        if not self.is_main and depth > 1:
            kinds += ["return"]
        if top:
            kinds += ["open store", "open load", "open for"]
        kind = self.random.choice(kinds)
        return getattr(self, "_" + kind.replace(" ", "_"))("    " * depth, depth)

    def _name(self, indent, depth):
        kind = self.random.choice(("int", "float"))
        text = self._expression(kind, 3)
        return [f"{indent}{self._target(kind)} = {text}"]

    def _target(self, kind):
        """Find a name to assign: an old one, or a new one."""
        old = [n for n in self.scope[kind] if n not in self.fixed and n not in "nix"]
        if old and self.random.random() < 0.5:
            return self.random.choice(old)
        self.names += 1
        name = f"{'k' if kind == 'int' else 'y'}{self.names}"
        self.scope[kind].append(name)
        return name

    def _change(self, indent, depth):
        kind = self.random.choice(("int", "float"))
        old = [n for n in self.scope[kind] if n not in self.fixed and n != "n"]
        target = f"{'wholes' if kind == 'int' else 'reals'}[{self._slot()}]"
        if old and self.random.random() < 0.5:
            target = self.random.choice(old)
        sign = self.random.choice("+-*") if kind == "float" else "&"
        return [f"{indent}{target} {sign}= {self._expression(kind, 2)}"]

    def _element(self, indent, depth):
        kind = self.random.choice(("int", "float"))
        array = "wholes" if kind == "int" else "reals"
        return [f"{indent}{array}[{self._slot()}] = {self._expression(kind, 3)}"]

    def _swap(self, indent, depth):
        a, b = self._slot(), self._slot()
        array = self.random.choice(("wholes", "reals"))
        return [f"{indent}{array}[{a}], {array}[{b}] = {array}[{b}], {array}[{a}]"]

    def _if(self, indent, depth):
        heads = [f"if {self._condition(2)}:"]
        if self.random.random() < 0.3:
            heads.append(f"elif {self._condition(2)}:")
        if self.random.random() < 0.6:
            heads.append("else:")
        lines = []
        for head in heads:
            lines.append(indent + head)
            lines += self._block(depth + 1, self.random.randint(1, 3))
        return lines

    def _for(self, indent, depth):
        self.names += 1
        counter = f"c{self.names}"
        head = f"{indent}for {counter} in range({self.random.randint(0, 3)}):"
        self.scope["int"].append(counter)
        helpers, main = self.helpers, self.is_main
        # No early return in a loop, and no product of loops and calls.
        self.helpers, self.is_main = [], True
        lines = self._block(depth + 1, self.random.randint(1, 2))
        self.helpers, self.is_main = helpers, main
        self.scope["int"].remove(counter)
        return [head, *lines]

    def _return(self, indent, depth):
        return [f"{indent}return {self._expression(self.kind, 2)}"]

    def _open_store(self, indent, depth):
        return [f"{indent}reals[n & 7] = {self._expression('float', 2)}"]

    def _open_load(self, indent, depth):
        index = self._expression("int", 2)
        return [f"{indent}{self._target('float')} = reals[{index} & 7]"]

    def _open_for(self, indent, depth):
        self.names += 1
        counter = f"c{self.names}"
        self.scope["int"].append(counter)
        lines = self._block(depth + 1, self.random.randint(1, 3), fixed=True)
        self.scope["int"].remove(counter)
        return [f"{indent}for {counter} in range(n):", *lines]

    def _slot(self):
        return self.random.randrange(TABLE)

    # -- expressions -----------------------------------------------------------

    def _expression(self, kind, depth):
        return self._whole(depth) if kind == "int" else self._real(depth)

    def _real(self, depth):
        pick = self.random.choice
        simple = [
            lambda: pick(("0.0", "-0.0", "0.5", "1.0", "-1.75", "3e200", "1e-310")),
            lambda: pick(self.scope["float"]),
            lambda: f"reals[{self._slot()}]",
        ]
        if depth <= 0:
            return pick(simple)()
        a, b = self._real(depth - 1), self._real(depth - 1)
        # A guard must ask for what it guards: without calls, which may change it.
        c, d = self._real(0), self._real(0)
        return pick(
            [
                *simple,
                lambda: f"({a} {pick('+-*')} {b})",
                lambda: f"({a} {pick('+-*')} {b})",
                lambda: f"({d} / {c} if {c} != 0.0 else {b})",
                lambda: f"{pick(('min', 'max'))}({a}, {b})",
                lambda: f"{pick(('min', 'max'))}({a}, {b}, 0.5)",
                lambda: f"abs({a})",
                lambda: f"(-{a})",
                lambda: f"({a} if {self._condition(depth - 1)} else {b})",
                lambda: f"float({self._whole(depth - 1)})",
                lambda: f"({self._whole(depth - 1)} * {a})",
                lambda: f"({self._whole(depth - 1)} / 3)",
                lambda: f"math.sqrt(abs({a}))",
                lambda: f"math.sin({c} if -50.0 < {c} < 50.0 else 1.0)",
                lambda: f"math.pow({c} if 0.1 < {c} < 9.0 else 2.0, 0.5)",
                lambda: f"math.pow(2.0, {c} if -9.0 < {c} < 9.0 else 2.0)",
                lambda: f"levels[{self._whole(depth - 1)} & 7]",
                lambda: self._guarded("levels"),
                lambda: self._helper("float", a),
            ]
        )()

    def _whole(self, depth):
        pick = self.random.choice
        simple = [
            lambda: pick(("0", "1", "-1", "5", "-300")),
            lambda: pick(self.scope["int"]),
            lambda: f"wholes[{self._slot()}]",
        ]
        if depth <= 0:
            return pick(simple)()
        a, b = self._whole(depth - 1), self._whole(depth - 1)
        c, d, real = self._whole(0), self._whole(0), self._real(0)
        return pick(
            [
                *simple,
                lambda: f"limit({a} {pick('+-*')} {b})",
                lambda: f"limit({a} {pick('+-*')} {b})",
                lambda: f"({a} // {pick((1, 3, -7))})",
                lambda: f"limit({d} // {c} if {c} != 0 else {b})",
                lambda: f"({a} >> ({b} & 7))",
                lambda: f"limit(({a} & 255) << ({b} & 3))",
                lambda: f"({a} {pick('&|')} {b})",
                lambda: f"(({d} >> {c}) if 0 <= {c} < 9 else {b})",
                lambda: f"{pick(('min', 'max'))}({a}, {b})",
                lambda: f"abs({a})",
                lambda: f"(-{a})",
                lambda: f"({a} if {self._condition(depth - 1)} else {b})",
                lambda: f"(({self._condition(0)}) + limit({a}))",
                lambda: f"(int({real}) if -999.0 < {real} < 999.0 else {a})",
                lambda: f"(math.floor({real}) if -999.0 < {real} < 999.0 else {a})",
                lambda: f"codes[{a} & 7]",
                lambda: self._guarded("codes"),
                lambda: self._helper("int", a),
            ]
        )()

    def _guarded(self, array):
        """Read where only a branch keeps the index within the array."""
        index = self._whole(0)
        other = "0.25" if array == "levels" else "3"
        return f"({array}[{index}] if 0 <= {index} < {TABLE} else {other})"

    def _helper(self, kind, other):
        names = [name for name, gives in self.helpers if gives == kind]
        if not names:
            return other
        name = self.random.choice(names)
        given = f"n, {self._whole(0)}, {self._real(0)}, wholes, reals, codes, levels"
        return f"{'limit' if kind == 'int' else ''}({name}({given}))"

    def _condition(self, depth):
        pick = self.random.choice
        compare = ("<", "<=", ">", ">=", "==", "!=")
        low = max(depth - 1, 0)
        ways = [
            lambda: f"{self._real(low)} {pick(compare)} {self._real(low)}",
            lambda: f"{self._whole(low)} {pick(compare)} {self._whole(low)}",
            lambda: f"{self._whole(low)} < {self._real(0)} <= {self._real(low)}",
        ]
        if depth > 0:
            a, b = self._condition(depth - 1), self._condition(depth - 1)
            ways += [
                lambda: f"({a}) {pick(('and', 'or'))} ({b})",
                lambda: f"not ({a})",
                lambda: f"({a}) and ({b}) or ({self._condition(0)})",
            ]
        return pick(ways)()


def load_program(text, path):
    """Write a program into a file and import it, so that its source is at hand."""
    path.write_text(text, encoding="utf-8")
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
