"""The printable page of a load, A4 or Letter: drawings, boxes to write in, what a deviation means.

What is expected stands beside each box as the band in which a reading is fine, the 95 % interval of
the row. The numbers are typed into the CSV sheet, whose lines carry the same marks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from shrinkrule.cautions import CAUTIONS
from shrinkrule.files.templates import environment
from shrinkrule.furnace import Furnace
from shrinkrule.report.foundation import program
from shrinkrule.traveler.lines import band
from shrinkrule.traveler.load import Load, TravelingPart
from shrinkrule.traveler.pictures import PartPictures

MEANINGS: Final = (
    ("light when green", "gaps in the print: wet or thin filament, too little of it, a slip"),
    ("heavy after debinding", "binder is left in it: do not sinter it yet"),
    ("large when sintered, in all directions", "not hot or not long enough; or another batch"),
    (
        "Z alone",
        "layers or first layer, where green heights are off too; else how it stood",
    ),
    ("outside large and inside small, or the reverse", "the outline offset of the print"),
    ("bores alone", "the bore offset; ream or drill"),
    ("one length alone", "measure it again first"),
)
"""What a reading beyond its band means, as a rule of the trade; the review weighs it by the row."""

REACTIVE: Final = ("alumin", "titan", "magnes")
"""Words in a material's name for which the caution about reactive metals comes first."""


def traveler_html(load: Load, pictures: Sequence[PartPictures], sheet_name: str) -> str:
    """Page of a load.

    Parameters
    ----------
    load : Load
        Parts that are fired together.
    pictures : sequence of PartPictures
        Of each part.
    sheet_name : str
        Name of the sheet to type into.

    Returns
    -------
    str
        One page of HTML without links to other files.
    """
    row = load.row
    return (
        environment("shrinkrule.traveler")
        .get_template("traveler.html")
        .render(
            parts=[_part(part, seen) for part, seen in zip(load.parts, pictures, strict=True)],
            row=row,
            nozzle=f"{load.settings['printer.nozzle']:g}",
            layer=f"{load.settings['printer.layer_height']:g}",
            furnace="" if load.furnace is None else str(load.furnace),
            ballast=_ballast(load.furnace),
            promised=row["firing_scatter_known"],
            meanings=MEANINGS,
            cautions=_cautions(row["material"]),
            sheet_name=sheet_name,
            program=program(),
        )
    )


def _part(part: TravelingPart, pictures: PartPictures) -> dict[str, Any]:
    report = part.report
    sizes = report["prediction"]["sizes"]
    fit = report["furnace"]
    lies = [] if fit is None else ["fits" if fit["spare_mm"] >= 0.0 else "does NOT fit"]
    if fit is not None:
        lies.append(f"{abs(fit['spare_mm']):.1f} mm {'to spare' if lies == ['fits'] else 'over'}")
        if fit["turned_deg"]:
            lies.append(f"turned {fit['turned_deg']:.0f} degrees")
    sag = report["sag_estimate"]
    matters = sag is not None and sag["sag_mm"] > sag["matters_over_mm"]
    return {
        "letter": part.letter,
        "name": part.name,
        "green": part.green.name,
        "make": report["verdict"]["level"] != "do not make it",
        "level": report["verdict"]["level"],
        "checksum": part.green_sha256[:12],
        "box": " x ".join(f"{size['green_mm']:.1f}" for size in sizes),
        "masses": [
            (stage, "" if mass is None else band(mass))
            for stage, mass in (
                ("green", part.mass("green")),
                ("debound", part.mass("debound")),
                ("sintered", part.mass("fired")),
            )
        ],
        "lengths": [
            {
                "mark": one.mark,
                "what": one.what,
                "axis": one.axis.upper(),
                "wanted": f"{one.wanted_mm:.2f}",
                "green": band(one.green_mm),
                "fired": band(one.fired_mm),
            }
            for one in part.lengths
        ],
        "not_measured": part.not_measured,
        "pictures": pictures,
        "fit": ", ".join(lies),
        "sag": f"about {sag['sag_mm']:.2f} mm" if matters else "",
        "offset": _offset(report),
    }


def _offset(report: dict[str, Any]) -> str:
    """Outline offset that the print must be given, in words; empty where there is none to give."""
    bead = report["calibration"]["row"]["bead_offset_mm"]
    if bead is None or report["outline_offset"] != "in the print":
        return ""
    return f"{-bead['value']:+.3f} mm"


def _ballast(furnace: Furnace | None) -> str:
    if furnace is None or not furnace.ballast_below_mm + furnace.ballast_above_mm:
        return ""
    return (
        f"{furnace.ballast_below_mm:g} mm of ballast below, {furnace.ballast_above_mm:g} mm above"
    )


def _cautions(material: str) -> tuple[str, ...]:
    """Cautions, local codes first; that of reactive metals next where the material is one."""
    first = [CAUTIONS[-1]]
    if any(word in material.lower() for word in REACTIVE):
        first += [text for text in CAUTIONS if text.startswith("Aluminium")]
    return (*first, *(text for text in CAUTIONS if text not in first))
