"""An equation in plain text -> MathML, which a browser sets without any script.

The text is arithmetic as Python reads it, ``=`` between the sides: ``V = (W_a - W_w)*b/(rho_w - rho_a)``. So a test
can work it out and hold it against the program.
"""

from __future__ import annotations

import ast
import re

from markupsafe import Markup

GREEK = {"rho": "ρ", "phi": "φ", "alpha": "α", "gamma": "γ", "pi": "π"}
_SIGNS: dict[type[ast.AST], str] = {ast.Add: "+", ast.Sub: "−", ast.LtE: "≤", ast.Lt: "<"}
_PRINTED = {"**2": "²", "**": "^", "*": " × ", "-": "−", "<=": "≤", "total(": "∑(", "product(": "∏("}
_LARGE = {"total": "∑", "product": "∏"}
_TIMES = Markup('<mo lspace="0.08em" rspace="0.08em">\u2062</mo>')  # invisible, as in print; read out as "times"
_BINDS: dict[type[ast.AST], int] = {ast.Compare: 0, ast.Add: 1, ast.Sub: 1, ast.Mult: 2, ast.Div: 2, ast.USub: 2}


def equation(text: str) -> Markup:
    """The ``math`` element of an equation, with its plain text as alternative."""
    sides = [_set(ast.parse(side.strip(), mode="eval").body) for side in text.split(" = ")]
    return Markup('<math display="block" alttext="{}">{}</math>').format(plain(text), _sign("=").join(sides))


def symbol(name: str) -> Markup:
    """The ``math`` element of one symbol."""
    return Markup("<math>{}</math>").format(_name(name))


def plain(text: str) -> str:
    """The equation as one line of text: Greek letters, and signs as they are printed."""
    text = re.sub(rf"\b({'|'.join(GREEK)})(?=_|\b)", lambda found: GREEK[found[1]], text)
    for typed, printed in _PRINTED.items():
        text = text.replace(typed, printed)
    return text


def _sign(sign: str) -> Markup:
    return Markup("<mo>{}</mo>").format(sign)


def _name(name: str) -> Markup:
    base, _, under = name.partition("_")
    letter = Markup("<mi>{}</mi>").format(GREEK.get(base, base))
    below = Markup("<mn>{}</mn>" if under.isdigit() else "<mi>{}</mi>").format(GREEK.get(under, under))
    return Markup("<msub>{}{}</msub>").format(letter, below) if under else letter


def _in(left: str, inner: Markup, right: str) -> Markup:
    # Without a font for mathematics a bracket that may stretch is far too tall.
    sign = Markup("<mo>{}</mo>" if "<mfrac" in inner else '<mo stretchy="false">{}</mo>')
    return Markup("<mrow>{}{}{}</mrow>").format(sign.format(left), inner, sign.format(right))


def _binding(node: ast.expr) -> int:
    return _BINDS.get(type(node.op if isinstance(node, ast.BinOp | ast.UnaryOp) else node), 9)


def _bracketed(node: ast.expr, at_least: int) -> Markup:
    """The expression, in brackets if it binds less; a fraction needs none."""
    stacked = isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div)
    return _in("(", _set(node), ")") if _binding(node) < at_least and not stacked else _set(node)


def _set(node: ast.expr) -> Markup:
    match node:
        case ast.Constant(value=int() | float() as value):
            return Markup("<mn>{}</mn>").format(f"{value:.12g}")
        case ast.Name(id=name):
            return _name(name)
        case ast.BinOp():
            return _binary(node)
        case ast.UnaryOp(operand=operand):
            return Markup("<mrow>{}{}</mrow>").format(_sign("−"), _bracketed(operand, 2))
        case ast.Compare(left=left, ops=ops, comparators=others):
            parts = [_set(left)]
            for op, other in zip(ops, others, strict=True):
                parts += [_sign(_SIGNS[type(op)]), _set(other)]
            return Markup("<mrow>{}</mrow>").format(Markup("").join(parts))
        case ast.Subscript(value=ast.Name(id=name), slice=inner):
            return _name(name) + _in("[", _set(inner), "]")
        case ast.Call(func=ast.Name(id=name), args=args):
            return _call(name, args)
    raise ValueError(f"no way to set {ast.unparse(node)}")


def _binary(node: ast.BinOp) -> Markup:
    left, right, op = node.left, node.right, type(node.op)
    if op is ast.Div:
        return Markup("<mfrac><mrow>{}</mrow><mrow>{}</mrow></mfrac>").format(_set(left), _set(right))
    if op is ast.Pow:
        return Markup("<msup><mrow>{}</mrow><mrow>{}</mrow></msup>").format(_raised(left), _set(right))
    if op is ast.Mult:
        return Markup("<mrow>{}{}{}</mrow>").format(_bracketed(left, 2), _TIMES, _bracketed(right, 2))
    return Markup("<mrow>{}{}{}</mrow>").format(
        _bracketed(left, 1), _sign(_SIGNS[op]), _bracketed(right, 2 if op is ast.Sub else 1)
    )


def _raised(node: ast.expr) -> Markup:
    return _set(node) if isinstance(node, ast.Name | ast.Constant) else _in("(", _set(node), ")")


def _call(name: str, args: list[ast.expr]) -> Markup:
    if name == "sqrt":
        return Markup("<msqrt>{}</msqrt>").format(_set(args[0]))
    if name in _LARGE:
        return Markup("<mrow>{}{}</mrow>").format(_sign(_LARGE[name]), _bracketed(args[0], 2))
    commas = _sign(",").join(_set(arg) for arg in args)
    return Markup("<mrow>{}{}</mrow>").format(_name(name), _in("(", commas, ")"))
