"""Figures as people write them, with their units: '1/8 in', '55 lbf ft', '3,2 mm'."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, get_args

if TYPE_CHECKING:
    from pint import UnitRegistry

Quantity = Literal["length", "pressure", "torque", "force", "angle", "time", "distance"]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)

UNITS: Mapping[Quantity, tuple[str, ...]] = MappingProxyType(
    {
        "length": ("in", "mm"),
        "pressure": ("psi", "kPa", "bar"),
        "torque": ("lbf ft", "N m", "lbf in"),
        "force": ("lbf", "kN", "N"),
        "angle": ("deg",),
        "time": ("s", "min"),
        "distance": ("mi", "km"),
    }
)
"""Units of each quantity as they are written here, the one offered first in front."""

_PINT = {
    "in": "inch",
    "psi": "pound_force_per_square_inch",
    "lbf ft": "pound_force * foot",
    "lbf in": "pound_force * inch",
    "N m": "newton * meter",
    "lbf": "pound_force",
    "kN": "kilonewton",
    "N": "newton",
    "mi": "mile",
}
_ALSO_WRITTEN = {
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "lb ft": "lbf ft",
    "ft lb": "lbf ft",
    "ft lbs": "lbf ft",
    "ft lbf": "lbf ft",
    "lb in": "lbf in",
    "in lb": "lbf in",
    "in lbs": "lbf in",
    "in lbf": "lbf in",
    "nm": "N m",
    "°": "deg",
    "degrees": "deg",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "mile": "mi",
    "miles": "mi",
}
_WRITTEN = {
    **{unit.lower(): unit for units in UNITS.values() for unit in units},
    **_ALSO_WRITTEN,
}
_NUMBER = re.compile(
    r"(?:(?P<whole>\d{1,6})[ -]+)?(?P<over>\d{1,6})\s*/\s*(?P<under>\d{1,6})"
    r"|(?P<decimal>\d{1,9}(?:[.,]\d{0,9})?|[.,]\d{1,9})",
    re.ASCII,
)
_THOUSANDS = re.compile(r"\d{1,3},\d{3}")


@dataclass(frozen=True, slots=True)
class Measured:
    """A figure in one of the units of ``UNITS``."""

    value: float
    unit: str

    def to(self, unit: str) -> Measured:
        """Give the same in another unit.

        Raises
        ------
        ValueError
            The unit is of another quantity, or unknown.
        """
        return Measured(convert(self.value, self.unit, unit), unit)

    def __str__(self) -> str:
        unit = "°" if self.unit == "deg" else f" {as_printed(self.unit)}"
        return f"{figure(self.value, 4)}{unit}"


def quantity_of(unit: str) -> Quantity:
    """Say which quantity a unit of ``UNITS`` measures.

    Raises
    ------
    ValueError
        The unit is unknown.
    """
    for quantity, units in UNITS.items():
        if unit in units:
            return quantity
    raise ValueError(f"unknown unit {unit!r}: use one of {', '.join(u for us in UNITS.values() for u in us)}")


def convert(value: float, unit: str, to: str) -> float:
    """Change the unit of a figure.

    Raises
    ------
    ValueError
        The units are of different quantities, or one is unknown.
    """
    if quantity_of(unit) != quantity_of(to):
        raise ValueError(f"{unit} measures {quantity_of(unit)}, {to} measures {quantity_of(to)}")
    return value * _factor(unit, to)


def read(text: str, quantity: Quantity, unit: str) -> Measured:
    """Read a figure as a person wrote it.

    Parameters
    ----------
    text : str
        A number of zero or more, decimal (point or comma) or a fraction (``1/8``, ``1 3/8``, ``1-3/8``),
        with or without a unit behind it.
    quantity : str
        What is measured.
    unit : str
        The unit meant where none is written.

    Raises
    ------
    ValueError
        The text is no such figure, or its unit measures something else; one line with the mend.
    """
    text = text.strip()
    match = _NUMBER.match(text)
    example = f"write a number such as 3.2 or 1/8, and a unit: {', '.join(UNITS[quantity])}"
    if match is None:
        raise ValueError(f"{text!r} is no {quantity}: {example}")
    if _THOUSANDS.fullmatch(match[0]):
        raise ValueError(f"{match[0]} can be read in two ways: write it without the comma or with a point")
    if match["decimal"]:
        value = float(match["decimal"].replace(",", "."))
    else:
        if int(match["under"]) == 0:
            raise ValueError(f"{match[0]} divides by zero: {example}")
        value = int(match["whole"] or 0) + int(match["over"]) / int(match["under"])
    written = re.sub(r"[\s.·•*⋅-]+", " ", text[match.end() :].lower()).strip()
    found = _WRITTEN.get(written) if written else unit
    if found is None or quantity_of(found) != quantity:
        raise ValueError(f"{text!r} is no {quantity}: {example}")
    return Measured(value, found)


def figure(value: float, digits: int = 3) -> str:
    """Give a number with at least so many figures that mean something, never in powers of ten."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def as_printed(unit: str) -> str:
    """Give a unit as it is printed: a product with its dot."""
    return {"lbf ft": "lbf·ft", "lbf in": "lbf·in", "N m": "N·m"}.get(unit, unit)


@functools.cache
def _factor(unit: str, to: str) -> float:
    start, end = (_PINT.get(u, u) for u in (unit, to))
    return float(_registry().Quantity(1.0, start).to(end).magnitude)


@functools.cache
def _registry() -> UnitRegistry[Any]:
    # Imported on first use: it costs a third of a second.
    import pint

    return pint.UnitRegistry()
