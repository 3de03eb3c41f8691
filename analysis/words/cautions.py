"""The usual cautions of the trade, one text a subject, to be shown where it applies."""

from dataclasses import dataclass

PREAMBLE = "Local codes, the machine's manual and licensed practice come first; follow the stricter."


@dataclass(frozen=True)
class Caution:
    """What it is about, and what to mind."""

    about: str
    words: str

    @property
    def line(self) -> str:
        """As one line beside what it is about."""
        return f"Caution, {self.about[:1].lower()}{self.about[1:]}: {self.words}"


METAL = Caution(
    "Metal does not go back",
    "never scrape from one survey; let the bed cool first, repeat the survey, confirm it with blue and a "
    "straightedge. Never twist a bed with its feet to hide wear.",
)
MAINS = Caution(
    "Mains",
    "isolate the machine and lock it off before anything is fitted to it; a stop button is no isolation. "
    "Wire nothing into the emergency stop or the machine's control.",
)
FEED = Caution(
    "Power feed",
    "no hands, sleeves, cables, stands or magnets near feed, leadscrew or chuck; move the carriage by hand.",
)
JACKS = Caution(
    "Jacks and feet",
    "small moves, one foot at a time, every foot kept bearing, never a limb underneath; a machine heavy at "
    "one end can tip.",
)
LIFTING = Caution(
    "Lifting",
    "straightedges, carriages and beds are heavy: rated slings and hoists, enough people, nobody under a "
    "load.",
)
REACH = Caution(
    "Magnets, wires, lasers",
    "strong magnets pinch and stop pacemakers. A taut wire whips when it breaks: eye protection, nobody in "
    "line with it. Keep to a laser's class and never look into its beam.",
)
SCRAPERS = Caution(
    "Scrapers",
    "by hand or power, they cut deep: push away from yourself, guard the edge. Keep grinding and casting "
    "dust out of lungs and ways; old paint may hold lead.",
)
SOLVENTS = Caution("Marking blue and solvents", "gloves, fresh air, no flame.")
LEADS = Caution("Leads and chargers", "keep them away from coolant.")
ALL = (METAL, MAINS, FEED, JACKS, LIFTING, REACH, SCRAPERS, SOLVENTS, LEADS)
"""In the order of the work."""
