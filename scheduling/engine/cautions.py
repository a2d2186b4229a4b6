"""Short cautions shown beside a task, by code.

Common practice, worded here. Where a figure is quoted it is one country's, for orientation only: local code, the
landlord, licensed trades, the insurer and the maker's data sheet always win.
"""

from __future__ import annotations

CAUTIONS: dict[str, str] = {
    "SAW": (
        "Saws: trained named person only, eyes and ears protected, guard working, nothing loose, cord behind "
        "you, helper clear. Under 18: no."
    ),
    "DRIL": (
        "Drilling: find cables and pipes first. Eye protection. Vacuum at the hole. Ask before drilling slab,"
        " block or firewall."
    ),
    "STAP": (
        "Stapler: never point it at anyone, other hand well clear, air or plug off to clear a jam, eye protection."
    ),
    "KNIF": ("Knife: fresh blade, cut away from you, board underneath, retract it before you put it down."),
    "SOLV": (
        "Adhesive or paint: read the safety sheet, open doors, fan out, no flame or spark, gloves, right "
        "mask. Dizzy or headache: out now."
    ),
    "CHEM": (
        "Cleaner: read the label, never mix, gloves, air, out of children's reach. Surface wet for the full "
        "contact time."
    ),
    "LIFT": ("Lift together on one call. Over 40 lb or 6 ft: two people or a trolley. Bad back? Say so. Feet clear."),
    "LADD": (
        "Ladder: sound, level, one foot out for four up, three points on, no top step, someone at the foot. "
        "Not over people."
    ),
    "DUST": ("Dust: damp down or vacuum, no dry sweeping, mask, close off the room."),
    "SILI": ("Concrete dust scars lungs: extraction and proper mask, others out. Trained person only."),
    "ELEC": (
        "Wiring is for a licensed electrician, power proved off. Keep the space in front of the panelboard "
        "clear (US: 36 in deep, 30 in wide or the panel's width, 78 in high)."
    ),
    "EXIT": (
        "Keep exits, signs, call points and extinguishers clear and working at all times, also today. Ask the"
        " fire authority before changing any."
    ),
    "SPRK": (
        "Never hang on, paint or touch sprinklers. Keep stored things well below (US: 18 in). Impairment only"
        " by the licensed firm."
    ),
    "FIRE": (
        "Foam and vinyl burn fast and smoke heavily: no smoking, heat or sparks near them. Fire papers for "
        "the build-up before you buy."
    ),
    "LEAD": (
        "Old paint may hold lead. Do not sand, scrape or burn until tested. In the US certified work "
        "practices apply before 1978 in places young children regularly use."
    ),
    "ASB": (
        "Old tiles, glue, boards, lagging may hold asbestos. Stop. Do not break, sand or sweep. Qualified survey first."
    ),
    "LOAD": (
        "Hanging things fall. Right anchor for this wall, maker's capacity, load includes people hitting it. "
        "Unsure: competent person."
    ),
    "GLAS": ("Glass: backed or laminated, two people, gloves, suction lifters, never overhead, out of fall zone."),
    "TRIP": ("Look where you walk: cords, edges, open stairs, poor light. Closed shoes."),
    "KIDS": (
        "Children only with their own adult, outside the work zone, out of adhesive air, no power tools. Two "
        "vetted adults in the child area."
    ),
    "NOIS": ("Loud: hearing protection, obey quiet hours, warn neighbours."),
    "HEAT": ("Hot day: shade, water every 20 minutes, slow down, watch each other."),
}


def texts(codes: list[str]) -> list[str]:
    """Return the caution texts for these codes, in order, unknown codes left out.

    >>> texts(["TRIP"])
    ['Look where you walk: cords, edges, open stairs, poor light. Closed shoes.']
    """
    return [CAUTIONS[code] for code in codes if code in CAUTIONS]
