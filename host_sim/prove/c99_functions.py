"""Statements and functions of the law as C99."""

import ast

from host_sim.prove.c99_expressions import (
    ARRAYS,
    Scope,
    Signature,
    bare,
    call,
    condition,
    infix,
    is_literal,
    number,
    refuse,
)

_INDENT = "    "
_KEYWORDS = """
auto break case char const continue default do double else enum extern float for
goto if inline int long register restrict return short signed sizeof static struct
switch typedef union unsigned void volatile while
"""


def write_function(function: ast.FunctionDef, scope: Scope, *, public: bool) -> str:
    """Write one function, its docstring as the comment above it.

    Parameters
    ----------
    function : ast.FunctionDef
    scope : Scope
        Of the module.
    public : bool
        Other C files may call it.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Something in it is not known, with file and line.
    """
    signature = scope.functions[function.name]
    scope.assigned = {name for name in signature.parameters if name not in ARRAYS}
    writer = _Writer(function, scope)
    open_end = writer.write_block(function.body, 1)
    if open_end and signature.returns:
        raise refuse(scope.file, function, "one way through it returns nothing")
    head = declare(signature, public=public)
    remark = comment(ast.get_docstring(function) or "", scope.file, function)
    return "\n".join([remark + head, "{", *writer.lines, "}"])


def declare(signature: Signature, *, public: bool) -> str:
    """Write the head of a function."""
    kind = "int32_t" if signature.returns else "void"
    parameters = [ARRAYS.get(name, f"int32_t {name}") for name in signature.parameters]
    storage = "" if public else "static "
    return f"{storage}{kind} {signature.symbol}({', '.join(parameters)})"


def comment(text: str, file: str, node: ast.AST) -> str:
    """Write a docstring as a comment, without its examples in Python."""
    if "*/" in text or "/*" in text:
        raise refuse(file, node, "the docstring would end its comment in C")
    lines = text.split(">>>", maxsplit=1)[0].rstrip().splitlines()
    if not lines or lines[-1].startswith("from "):
        lines = lines[:-1]
    if len(lines) == 1:
        return f"/* {lines[0]} */\n"
    body = "\n".join(f" * {line}".rstrip() for line in lines)
    return f"/*\n{body}\n */\n" if lines else ""


class _Writer:
    """Write the statements of one function and follow what is assigned."""

    def __init__(self, function: ast.FunctionDef, scope: Scope) -> None:
        self.scope = scope
        self.returns = scope.functions[function.name].returns
        self.declared = set(scope.assigned)
        self.lines: list[str] = []
        for name in sorted(self.declared):
            self._check_local(function, name)

    def write_block(self, statements: list[ast.stmt], depth: int) -> bool:
        """Write statements; say whether the end of the block can be reached."""
        for statement in statements:
            if _is_docstring(statement):
                continue
            if depth == 1:
                self._declare_ahead(statement)
            if not self._write(statement, depth):
                return False
        return True

    def _write(self, statement: ast.stmt, depth: int) -> bool:
        match statement:
            case ast.Assign(targets=[target], value=right):
                self._put(depth, f"{self._assignment(target, right)};")
            case ast.AugAssign(target=ast.Name(id=name) as target, op=operator):
                sign = infix(operator)
                if sign is None:
                    raise refuse(self.scope.file, statement, "write it out as x = ...")
                number(target, self.scope)
                self._check_local(statement, name)
                right_text = self._whole(statement.value)
                self._put(depth, f"{name} {sign}= {right_text};")
            case ast.Expr(value=ast.Call() as called):
                self.scope.alone = called
                self._put(depth, f"{call(called, self.scope)};")
            case ast.Return(value=right):
                self._return(statement, right, depth)
                return False
            case ast.If():
                return self._branch(statement, depth)
            case ast.For():
                self._loop(statement, depth)
            case _:
                kind = type(statement).__name__
                raise refuse(self.scope.file, statement, f"unknown statement {kind}")
        return True

    def _put(self, depth: int, text: str) -> None:
        self.lines.append(_INDENT * depth + text)

    def _whole(self, node: ast.expr) -> str:
        self.scope.alone = bare(node)
        return number(node, self.scope)

    def _assignment(self, target: ast.expr, right: ast.expr) -> str:
        text = self._whole(right)
        match target:
            case ast.Name(id=name):
                self._check_local(target, name)
                kind = "" if name in self.declared else "int32_t "
                self.declared.add(name)
                self.scope.assigned.add(name)
                return f"{kind}{name} = {text}"
            case ast.Subscript(value=ast.Name(id="state")):
                return f"{number(target, self.scope)} = {text}"
        raise refuse(self.scope.file, target, "only locals and state are assigned")

    def _check_local(self, node: ast.AST, name: str) -> None:
        taken = name in self.scope.constants or name in self.scope.functions
        if taken or name in ARRAYS or name in _KEYWORDS.split():
            raise refuse(self.scope.file, node, f"{name} cannot name a local in C")

    def _declare_ahead(self, statement: ast.stmt) -> None:
        """Declare what a branch assigns first, so that it outlives the branch."""
        if not isinstance(statement, ast.If | ast.For):
            return
        for part in ast.walk(statement):
            if isinstance(part, ast.Assign) and isinstance(part.targets[0], ast.Name):
                name = part.targets[0].id
                if name not in self.declared:
                    self.declared.add(name)
                    self._put(1, f"int32_t {name};")

    def _return(self, node: ast.stmt, right: ast.expr | None, depth: int) -> None:
        if (right is not None) != self.returns:
            raise refuse(self.scope.file, node, "annotation and return disagree")
        text = "" if right is None else f" {self._whole(right)}"
        self._put(depth, f"return{text};")

    def _branch(self, statement: ast.If, depth: int, lead: str = "") -> bool:
        self.scope.alone = None
        opening = f"{lead}if ({condition(statement.test, self.scope)}) {{"
        self._put(depth, opening)
        before = set(self.scope.assigned)
        first_open = self.write_block(statement.body, depth + 1)
        after_first = self.scope.assigned
        self.scope.assigned = before
        other_open = True
        match statement.orelse:
            case [ast.If() as chained]:
                other_open = self._branch(chained, depth, "} else ")
            case [_, *_]:
                self._put(depth, "} else {")
                other_open = self.write_block(statement.orelse, depth + 1)
                self._put(depth, "}")
            case []:
                self._put(depth, "}")
        if first_open and other_open:
            self.scope.assigned = self.scope.assigned & after_first
        elif first_open:
            self.scope.assigned = after_first
        return first_open or other_open

    def _loop(self, statement: ast.For, depth: int) -> None:
        match statement:
            case ast.For(
                target=ast.Name(id=name),
                iter=ast.Call(func=ast.Name(id="range"), args=[low, high], keywords=[]),
                orelse=[],
            ) if (
                name not in self.declared | _stored(statement.body)
                and is_literal(low, self.scope)
                and is_literal(high, self.scope)
            ):
                self._check_local(statement, name)
            case _:
                why = "only `for new in range(low, high)`, from constant to constant"
                raise refuse(self.scope.file, statement, why)
        self.scope.alone = None
        limits = f"int32_t {name} = {number(low, self.scope)}; {name} < "
        limits += f"{number(high, self.scope)}; {name}++"
        self._put(depth, f"for ({limits}) {{")
        before = set(self.scope.assigned)
        self.scope.assigned.add(name)
        self.write_block(statement.body, depth + 1)
        self.scope.assigned = before
        self._put(depth, "}")


def _is_docstring(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


def _stored(statements: list[ast.stmt]) -> set[str]:
    return {
        part.id
        for statement in statements
        for part in ast.walk(statement)
        if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store)
    }
