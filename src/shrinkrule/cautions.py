"""The short cautions of the trade, as they stand in reports and on the coupon's sheet.

They remind; they do not teach. Local codes, the makers of furnace and material, and
licensed practice decide. No furnace schedule is given anywhere in this program.
"""

from __future__ import annotations

from typing import Final

CAUTIONS: Final = (
    "A furnace at sintering heat burns and blinds: wear face, hand and eye protection, keep it "
    "away from anything that burns, and never leave its first firing of a batch alone.",
    "Binder leaves as fumes that can be harmful and can catch fire: extract them outdoors or burn "
    "them off as your local code asks, and never seal a furnace that cannot vent.",
    "Gases that burn or displace air (hydrogen, forming gas, argon, nitrogen) need the "
    "ventilation, detection and fittings that your local code and a licensed fitter require.",
    "Fine metal powder harms lungs and can burn or explode when dusty: wear a fitted mask, wipe "
    "up wet, make no dust when breaking parts out of packing.",
    "Aluminium, titanium and magnesium react with air, water and some packings when hot, and "
    "water makes their fires worse: leave them to those equipped for it.",
    "These are reminders, not instructions: follow local codes, the data sheets of your furnace "
    "and material, and licensed practice.",
)
