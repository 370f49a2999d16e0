"""Instrument files to change and read: one with everything, one with no more than must be, and
one of a U-tube whose liquids are to be added."""

from __future__ import annotations

FULL = """
name = "fan-inlet"
arrangement = "u-tube"
tapped_limb = "left"

[scale]
unit = "mm"
division = 1.0
numbered_every = 10.0
lowest = -150.0
highest = 150.0
numbers = "away-from-zero"
material = "steel"
true_at = "20 degC"
standard_uncertainty = "0.1 mm"

[tube]
bore = "7 mm"
outside_diameter = "10 mm"
axis_to_scale = "9 mm"
incline = "12 deg"

[liquids]
manometric = "water"
process = "air"
[liquids.seal]
name = "oil"
density = "826 kg/m^3"
at = "20 degC"
expansion = "7e-4 / K"
standard_uncertainty = "1 kg/m^3"

[tapping]
height = "310 mm"

[reference]
open_to = "air"

[site]
temperature = "22 degC"
latitude = "52 deg"
elevation = "40 m"
barometer = "1009 hPa"

[limits]
low = "-200 Pa"
high = "1.2 kPa"
"""
LEAST = """
name = "least"
arrangement = "single-limb"
[scale]
unit = "cm"
division = 0.1
numbered_every = 1.0
lowest = 0.0
highest = 40.0
numbers = "upward"
[liquids]
manometric = "water"
"""


def labelled(name: str, label: str) -> str:
    return FULL.replace("fan-inlet", name) + f"\n[label]\n{label}\n"


BENCH = """
name = "bench"
arrangement = "u-tube"
tapped_limb = "left"
[scale]
unit = "mm"
division = 1
numbered_every = 10
lowest = 0
highest = 200
[tube]
bore = "6 mm"
outside_diameter = "9 mm"
axis_to_scale = "5 mm"
[tapping]
height = "0 mm"
[liquids]
"""
