"""Wind chill and time to frostbite, for the cautions spoken before work outside.

Rules of this room:

1. The two formulas are used as published, each in its own units: degC with km/h, degF with mph.
   They are never mixed (the Celsius formula with a wind in mph is a known error).
2. Outside the range of temperature and wind for which a formula was made there is no wind chill,
   and the answer says why.
3. The result is rounded to a whole degree, as on the charts; a tie goes to the colder degree.
4. All of this is a guide. "No band" never means that a person cannot be hurt by cold.

Sources: degC, formula on a college meteorology page (private copy), range T <= 0 and V >= 5 from
memory; degF, chart of the US National Weather Service, range T <= 50 and V > 3 from a private copy;
frostbite bands in degC, Environment Canada hazard table as copied by private pages; the 30-minute
band in degF, National Weather Service text as copied by a broadcaster.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal

from voicecheck.errors import UnknownUnit
from voicecheck.limits.judge import CannotJudge
from voicecheck.units import DEG_C, DEG_F, KM_PER_H, MPH, Quantity

_CONTEXT = Context(prec=28)
_POWER = Decimal("0.16")


@dataclass(frozen=True, slots=True)
class FrostbiteBand:
    """Minutes until bare skin can freeze: from ``fastest`` (None: below ``slowest``) to slowest."""

    fastest: int | None
    slowest: int

    def __str__(self) -> str:
        if self.fastest is None:
            return f"bare skin can freeze in {self.slowest} minutes or less"
        return f"bare skin can freeze in {self.fastest} to {self.slowest} minutes"


# Coldest first: wind chill in whole degC at or below which the band holds.
_BANDS_C: tuple[tuple[int, FrostbiteBand], ...] = (
    (-55, FrostbiteBand(None, 2)),
    (-48, FrostbiteBand(2, 5)),
    (-40, FrostbiteBand(5, 10)),
    (-28, FrostbiteBand(10, 30)),
)
# Only the start of the 30-minute band is known for the chart in degF.
_BANDS_F: tuple[tuple[int, FrostbiteBand], ...] = ((-18, FrostbiteBand(None, 30)),)


def wind_chill(temperature: Quantity, wind: Quantity) -> Quantity | CannotJudge:
    """Wind chill in whole degrees of the temperature's unit: degC with km/h, or degF with mph.

    13.12 + 0.6215 T - 11.37 V^0.16 + 0.3965 T V^0.16 (degC, km/h; T <= 0, V >= 5);
    35.74 + 0.6215 T - 35.75 V^0.16 + 0.4275 T V^0.16 (degF, mph; T <= 50, V > 3).
    CannotJudge outside those ranges. Raises UnknownUnit for any other pair of units.
    """
    degrees, speed = temperature.value, wind.value
    if (temperature.unit, wind.unit) == (DEG_C, KM_PER_H):
        if degrees > 0 or speed < 5:
            return CannotJudge("No wind chill above 0 degC or in wind below 5 km/h.")
        figures = ("13.12", "0.6215", "11.37", "0.3965")
    elif (temperature.unit, wind.unit) == (DEG_F, MPH):
        if degrees > 50 or speed <= 3:
            return CannotJudge("No wind chill above 50 degF or in wind of 3 mph or less.")
        figures = ("35.74", "0.6215", "35.75", "0.4275")
    else:
        raise UnknownUnit(
            f"Wind chill is not defined for {temperature} and {wind}.",
            "Give degC with km/h, or degF with mph.",
        )
    base, slope, still, mixed = (Decimal(figure) for figure in figures)
    power = _CONTEXT.power(speed, _POWER)
    chill = _CONTEXT.add(base, _CONTEXT.multiply(slope, degrees))
    chill = _CONTEXT.subtract(chill, _CONTEXT.multiply(still, power))
    chill = _CONTEXT.add(chill, _CONTEXT.multiply(_CONTEXT.multiply(mixed, degrees), power))
    # For a figure below zero, half up goes away from zero: to the colder degree.
    whole = chill.quantize(Decimal(1), rounding=ROUND_HALF_UP, context=_CONTEXT)
    return Quantity(whole + 0, temperature.unit)


def frostbite_band(chill: Quantity) -> FrostbiteBand | None:
    """The band for a wind chill in whole degC or degF; None when no band is known for it.

    A figure between two whole degrees falls into the colder one. Raises UnknownUnit for another
    unit.
    """
    if chill.unit == DEG_C:
        bands = _BANDS_C
    elif chill.unit == DEG_F:
        bands = _BANDS_F
    else:
        raise UnknownUnit(f"{chill} is not a wind chill.", "Give degC or degF.")
    whole = chill.value.to_integral_value(rounding="ROUND_FLOOR")
    for coldest, band in bands:
        if whole <= coldest:
            return band
    return None
