"""From an outline in the plan to the surface: flat, two radii, or a formula z(x, y)."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError


class Lift(Protocol):
    """Height of the surface above the plan."""

    def height(self, plan: FloatArray) -> FloatArray:
        """z (n,) m at plan points (n, 2) m; raises InputError where there is no surface."""


@dataclass(frozen=True)
class FlatLift:
    """A flat panel in the plane z = 0."""

    def height(self, plan: FloatArray) -> FloatArray:
        """Zero everywhere."""
        return np.zeros(len(plan))


@dataclass(frozen=True)
class TwoRadii:
    """z = √(rx² − x²) − rx + √(ry² − y²) − ry about `centre`: two radii as measured with a tape and a straight edge.

    `rx`, `ry` m: radius of the section along x and along y; inf is straight, a negative radius curves upwards.

    >>> TwoRadii(2.0, float("inf")).height(np.array([[0.0, 0.3], [1.2, 0.0]])).round(9).tolist()
    [0.0, -0.4]
    """

    rx: float
    ry: float
    centre: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name, radius in (("rx", self.rx), ("ry", self.ry)):
            if np.isnan(radius) or radius == 0.0:
                raise InputError(f"{name} is {radius:g}", where="two radii", allowed="any length but 0, or inf")

    def height(self, plan: FloatArray) -> FloatArray:
        """z of the double arc; raises InputError where the plan reaches beyond a radius."""
        z = np.zeros(len(plan))
        for axis, radius in enumerate((self.rx, self.ry)):
            if np.isinf(radius):
                continue
            s = plan[:, axis] - self.centre[axis]
            far = float(np.abs(s).max(initial=0.0))
            if far >= abs(radius):
                raise InputError(
                    f"the panel reaches {far:.4g} m from the centre, beyond its radius of {abs(radius):.4g} m",
                    where=f"two radii, {'xy'[axis]}",
                    allowed="a radius larger than the reach of the panel",
                    do="check the radius and the centre, or give a surface file for a panel this deep",
                )
            # √(r² − s²) − r without cancellation
            z -= np.sign(radius) * s**2 / (abs(radius) + np.sqrt(radius**2 - s**2))
        return z


_FUNCTIONS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "sqrt": np.sqrt,
    "sin": np.sin,
    "cos": np.cos,
    "exp": np.exp,
}
_OPERATIONS: dict[type[ast.operator], Callable[[FloatArray, FloatArray], FloatArray]] = {
    ast.Add: np.add,
    ast.Sub: np.subtract,
    ast.Mult: np.multiply,
    ast.Div: np.divide,
    ast.Pow: np.power,
}
_LONGEST = 1000


@dataclass(frozen=True)
class Formula:
    """z as an expression of x and y, all three in units of `unit` metres (1e-3: millimetres).

    Numbers, x, y, pi, + − * / **, brackets, sqrt, sin, cos, exp; nothing else is read, nothing is executed.

    >>> Formula("-x**2/4000 + 2*cos(y/100)", 1e-3).height(np.array([[0.2, 0.0]])).round(6).tolist()
    [-0.008]
    """

    text: str
    unit: float = 1.0

    def __post_init__(self) -> None:
        with np.errstate(all="ignore"):
            self._value(self._tree, np.zeros(1), np.zeros(1))

    def _refuse(self, what: str) -> InputError:
        return InputError(
            what,
            where=f"surface formula '{self.text[:80]}'",
            allowed="numbers, x, y, pi, + - * / **, brackets, sqrt, sin, cos, exp",
            do="write z as one expression of x and y",
        )

    @cached_property
    def _tree(self) -> ast.expr:
        if len(self.text) > _LONGEST:
            raise self._refuse(f"the formula is longer than {_LONGEST} characters")
        try:
            return ast.parse(self.text.strip(), mode="eval").body
        except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
            raise self._refuse(f"the formula cannot be read: {error}") from error

    def _value(self, node: ast.expr, x: FloatArray, y: FloatArray) -> FloatArray:
        if isinstance(node, ast.Constant):
            if isinstance(node.value, bool) or not isinstance(node.value, int | float):
                raise self._refuse(f"{node.value!r} is no number")
            return np.full_like(x, float(node.value))
        if isinstance(node, ast.Name):
            names = {"x": x, "y": y, "pi": np.full_like(x, np.pi)}
            if node.id not in names:
                raise self._refuse(f"the name '{node.id}' is not known")
            return names[node.id]
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
            value = self._value(node.operand, x, y)
            return -value if isinstance(node.op, ast.USub) else value
        if isinstance(node, ast.BinOp) and type(node.op) in _OPERATIONS:
            return _OPERATIONS[type(node.op)](self._value(node.left, x, y), self._value(node.right, x, y))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
            if node.func.id not in _FUNCTIONS:
                raise self._refuse(f"the function '{node.func.id}' is not known")
            if len(node.args) != 1:
                raise self._refuse(f"'{node.func.id}' takes one value")
            return _FUNCTIONS[node.func.id](self._value(node.args[0], x, y))
        raise self._refuse(f"'{ast.unparse(node)}' is not allowed")

    def height(self, plan: FloatArray) -> FloatArray:
        """z of the formula; raises InputError where it is no finite number."""
        with np.errstate(all="ignore"):
            z = self._value(self._tree, plan[:, 0] / self.unit, plan[:, 1] / self.unit) * self.unit
        bad = np.flatnonzero(~np.isfinite(z))
        if len(bad):
            at = plan[bad[0]] / self.unit
            raise InputError(
                f"the formula gives no number at x = {at[0]:.6g}, y = {at[1]:.6g}",
                where=f"surface formula '{self.text[:80]}'",
                allowed="a formula that has a value all over the panel",
            )
        return z
