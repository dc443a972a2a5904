"""What a job says of heat: the part's temperature in use, what its neighbours stand, and the shield between."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from clearance.job.values import Line, NotNegative, Positive, Sensible, Table
from clearance.job.where import Box, Sphere

ABSOLUTE_ZERO_C = -273.15


def _emissivity(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("not an emissivity; write a number above 0 to 1, or the name of a surface in quotes")
    if not isinstance(value, str) and not 0 < value <= 1:
        raise ValueError("no surface has that emissivity; write a number above 0 to 1")
    return value if isinstance(value, str) else float(value)


def _above_absolute_zero(value: float) -> float:
    if value < ABSOLUTE_ZERO_C:
        raise ValueError("below absolute zero; write degrees C, -273.15 or more")
    return value


def _celsius(value: Any) -> Any:
    return _above_absolute_zero(value) if isinstance(value, int | float) else value


def _limit(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("not a limit; write degrees C, or the name of a class in quotes")
    return value if isinstance(value, str) else _above_absolute_zero(float(value))


Celsius = Annotated[float, Field(allow_inf_nan=False, strict=True), Sensible, BeforeValidator(_celsius)]
Emissivity = Annotated[float | Line, BeforeValidator(_emissivity)]
LimitC = Annotated[float | Line, BeforeValidator(_limit)]


class HeatRegion(Table):
    """A stretch of the part with a temperature of its own, in the part's frame."""

    name: Line = Field(description="name, for the report")
    box: Box | None = Field(None, description="triangles with their middle in this box, part frame")
    sphere: Sphere | None = Field(None, description="triangles with their middle in this sphere, part frame")
    temperature: Celsius = Field(description="degrees C, at most part_temperature")
    emissivity: Emissivity | None = Field(
        None, description="emissivity, above 0 to 1, or a surface's name; left out: that of the part"
    )

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if (self.box is None) == (self.sphere is None):
            raise ValueError("both or neither of box and sphere; give exactly one of them")
        return self


class Heat(Table):
    """[heat]: the part's temperature in use; it is checked from cold to hot."""

    part_temperature: Celsius = Field(description="degrees C, of the part in use, its hottest")
    ambient: Celsius = Field(20.0, description="degrees C, about the part in use")
    modelled_at: Celsius = Field(20.0, description="degrees C, at which the part has the size of its mesh")
    anchor: Line = Field(description="name of a datum on the part that stays where it is as the part grows")
    emissivity: Emissivity = Field(
        0.95,
        description="emissivity of the part, above 0 to 1, or a surface's name",
    )
    air_speed: NotNegative = Field(
        0.0, description="m/s, of the air along the neighbours while driving; 0: it moves by its own buoyancy"
    )
    region: tuple[HeatRegion, ...] = Field((), description="stretches of the part that are cooler than its hottest")

    @model_validator(mode="after")
    def _hottest_is_hottest(self) -> Self:
        for region in self.region:
            if region.temperature > self.part_temperature:
                raise ValueError(
                    f"region '{region.name}' at {region.temperature:g} is hotter than part_temperature, "
                    f"{self.part_temperature:g}; part_temperature is the hottest: raise it and give the rest a region"
                )
        return self


class Shield(Table):
    """[shield]: the heat shield to size: sheets with air between them and the part."""

    sheets: Literal[1, 2] = Field(1, description="sheets, one behind the other")
    standoff: Positive = Field(15.0, description="mm, air between the part and the first sheet")
    standoff_least: Positive | None = Field(
        None,
        description="mm, least air between the part and the first sheet, where zones leave no more; left out: standoff",
    )
    pieces: Annotated[int, Field(strict=True, ge=1, le=12)] = Field(
        4, description="pieces that the shield may be made of, at most"
    )
    sheet: Positive = Field(0.8, description="mm, thickness of a sheet")
    between: Positive = Field(6.0, description="mm, air between two sheets")
    emissivity: Emissivity = Field(
        "aluminium oxidised",
        description="emissivity of both faces of a sheet, above 0 to 1, or a surface's name",
    )

    @model_validator(mode="after")
    def _least_is_least(self) -> Self:
        if self.least_mm > self.standoff:
            raise ValueError(f"standoff_least {self.least_mm:g} is more than standoff, {self.standoff:g}; lower it")
        return self

    @property
    def least_mm(self) -> float:
        """Least air between the part and the first sheet, mm."""
        return self.standoff if self.standoff_least is None else self.standoff_least

    @property
    def build_mm(self) -> float:
        """From the part's surface to the outer face of the last sheet, mm."""
        return self.standoff + self.sheets * self.sheet + (self.sheets - 1) * self.between
