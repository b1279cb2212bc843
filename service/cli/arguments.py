"""Arguments as people write them: a colour as "50,2.7,-79.8", a number with a comma or a point."""

from __future__ import annotations

import math
import re
from typing import Any

import click

Lab = tuple[float, float, float]

_MINUS = "\u2212"
_NEGATIVE_COLOUR = re.compile(r"^-(?=[\d.,]+[;,])")
# A colour on the command line may come from any instrument; effect paint outshines white.
_LIGHTEST, _FARTHEST = 400.0, 200.0


class ColourCommand(click.Command):
    """A command whose arguments may begin with a minus: -1,2,3 is a colour and no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # click looks for options at every hyphen; the true minus sign is none.
        return super().parse_args(ctx, [_NEGATIVE_COLOUR.sub(_MINUS, arg) for arg in args])


class LabType(click.ParamType[Lab]):
    """L*, a*, b* separated by commas, or by semicolons where the decimal mark is a comma."""

    name = "L,a,b"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Lab:
        text = str(value).strip().replace(_MINUS, "-")
        separator = ";" if ";" in text else ","
        parts = [part.strip() for part in text.split(separator)]
        if len(parts) != 3:
            hint = ""
            if separator == "," and len(parts) in (4, 5, 6):
                hint = ' With decimal commas write semicolons between: "50,1;2,3;-4".'
            self.fail(
                f"'{text}' has {len(parts)} values. A colour is three numbers, L*, a* and b*, "
                f'as "50.1,2.3,-4".{hint}',
                param,
                ctx,
            )
        lightness, a, b = (
            self._number(part, text, axis, param, ctx)
            for part, axis in zip(parts, ("L*", "a*", "b*"), strict=True)
        )
        if not 0 <= lightness <= _LIGHTEST:
            self.fail(f"L* cannot be {lightness:g}. It is 0 for black and 100 for white.")
        for axis, number in (("a*", a), ("b*", b)):
            if abs(number) > _FARTHEST:
                self.fail(f"{axis} cannot be {number:g}. It lies between -200 and 200.")
        return lightness, a, b

    def _number(self, part: str, text: str, axis: str, *where: Any) -> float:
        number = number_from(part)
        if number is None:
            self.fail(f"'{part}' in '{text}' is not a number. Write {axis} as 12.3.", *where)
        return number


class NumberType(click.ParamType[float]):
    """A number in a range, its ends included, with a decimal point or comma."""

    name = "number"

    def __init__(self, lowest: float, highest: float) -> None:
        self.lowest = lowest
        self.highest = highest

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = value if isinstance(value, float) else number_from(str(value))
        if number is None:
            self.fail(f"'{value}' is not a number. Write it as 0.8.", param, ctx)
        if not self.lowest <= number <= self.highest:
            self.fail(
                f"{number:g} is out of range. Give a number from {self.lowest:g} to "
                f"{self.highest:g}.",
                param,
                ctx,
            )
        return number


def number_from(text: str) -> float | None:
    """A plain finite number, or None; so neither nan nor 1_000 nor inf passes."""
    plain = text.strip().replace(_MINUS, "-")
    if not re.fullmatch(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", plain):
        return None
    number = float(plain.replace(",", "."))
    return number if math.isfinite(number) else None
