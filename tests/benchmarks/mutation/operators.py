"""Which faults are planted: a choice of cosmic-ray's operators, and three of our own for numbers and sums.

Left out are replacements that only crash, which any test would notice. Of a comparison both the boundary (`<` to `<=`)
and the direction (`<` to `>=`) are changed.
"""

import ast
from collections.abc import Iterator
from typing import Any, Final

import parso
from cosmic_ray import plugins
from cosmic_ray.operators.number_replacer import NumberReplacer
from cosmic_ray.operators.operator import Example, Operator

KEPT: Final = (
    *(f"ReplaceBinaryOperator_{change}" for change in (
        "Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Mul", "Mod_FloorDiv", "Pow_Mul", "BitOr_BitAnd",
        "BitAnd_BitOr",
    )),
    *(f"ReplaceComparisonOperator_{change}" for change in (
        "Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt", "Eq_NotEq", "NotEq_Eq",
        "Is_IsNot", "IsNot_Is",
    )),
    *(f"ReplaceUnaryOperator_Delete_{name}" for name in ("USub", "Invert", "Not")),
    "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
    "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ZeroIterationForLoop",
)  # fmt: skip
"""Names of the operators taken from cosmic-ray."""

SMALLEST_MEANT: Final = 1e-5
"""A smaller number only guards against a division by zero: half or twice of it does as well."""


class WholeNumber(NumberReplacer):
    """One more and one less, of whole numbers."""

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        """See `Operator`."""
        if node.type == "number" and isinstance(ast.literal_eval(node.value), int):
            yield from super().mutation_positions(node)


class MeasuredNumber(Operator):
    """Twice and half, of numbers with a decimal point; 0.0 becomes 1.0."""

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        """See `Operator`."""
        if node.type != "number" or not isinstance(value := ast.literal_eval(node.value), float):
            return
        for _ in range(2 if value > SMALLEST_MEANT else value == 0.0):
            yield (node.start_pos, node.end_pos)

    def mutate(self, node: Any, index: int) -> Any:
        """See `Operator`."""
        value = ast.literal_eval(node.value)
        changed = 1.0 if value == 0.0 else value * (2.0, 0.5)[index]
        return parso.python.tree.Number(repr(changed), node.start_pos, node.prefix)

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        """See `Operator`."""
        return Example("x = 0.5", "x = 1.0"), Example("x = 0.5", "x = 0.25", occurrence=1)


class RunningSum(Operator):
    """`+=` for `-=`, `|=` for `&=`, `*=` for `/=`, and the other way round."""

    OTHER: Final = {"+=": "-=", "-=": "+=", "*=": "/=", "/=": "*=", "|=": "&=", "&=": "|="}

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        """See `Operator`."""
        if node.type == "operator" and node.value in self.OTHER:
            yield (node.start_pos, node.end_pos)

    def mutate(self, node: Any, index: int) -> Any:
        """See `Operator`."""
        del index
        node.value = self.OTHER[node.value]
        return node

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        """See `Operator`."""
        return (Example("x += 1", "x -= 1"),)


def operators() -> dict[str, Operator]:
    """Every operator by its name."""
    kept: dict[str, Operator] = {name: plugins.get_operator(f"core/{name}")() for name in KEPT}
    return kept | {own.__name__: own() for own in (WholeNumber, MeasuredNumber, RunningSum)}
