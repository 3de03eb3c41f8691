"""Sheets to write readings on at the machine, and the same as a table for a spreadsheet.

A page shows where the face is, the stations in the order in which they are reached, and
room for a forward and a reverse run; the table (CSV) has the same rows and is taken back
by `waylog import`, once for each direction.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from acquire.model.bed import Bed, Instrument
from acquire.model.called import Called
from acquire.model.errors import AnalysisError, told_as
from acquire.model.reference import CARRIAGE
from acquire.model.units import MM_PER_INCH, length_text, unit_text
from acquire.store.safe_files import NewFile, write_file
from analysis.draw.figures.from_above import Outline, draw_from_above, draw_standing
from analysis.draw.figures.looks import INK, ROOM, SOFT, look
from analysis.draw.figures.section import draw_section

PAPERS: Mapping[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in mm."""
MARGIN_MM = 14.0
HEAD_MM = 128.0
FOOT_MM = 22.0
ROW_MM = 6.4
UPRIGHT_SLOPE = ("the {far_end} leans out, to where the face looks", "the {far_end} leans in")
"""What + and − of a level mean on a guide that stands."""
CAUTION = (
    "Isolate the machine and lock it off first; hands and stands clear of feed, leadscrew and chuck; "
    "lift heavy edges properly.\nLocal codes and licensed practice come first. "
    "Never scrape from one survey: repeat it, confirm with blue and a straightedge."
)
COLUMNS = (0.0, 0.06, 0.20, 0.36, 0.57, 0.78, 1.0)
"""Edges of the columns: number, station, feet, forward, reverse, note."""
COLUMNS_WITHOUT_FEET = (0.0, 0.06, 0.20, 0.45, 0.70, 1.0)
FIELDS = (
    ("date", "by", "bed °C, top", "bottom"),
    ("zero before", "zero after", "stands on", "clamped?"),
)


@dataclass(frozen=True)
class Sheet:
    """One face (or pair of faces) to be read with one instrument, or with any."""

    faces: tuple[str, ...]
    instrument: Instrument | None
    station_mm: tuple[float, ...]
    """Forward order; of a level the middles of its base, stepped foot to foot."""
    on_carriage: bool = False
    """It stands on the carriage, and the faces are the ways that this rides."""

    @property
    def name(self) -> str:
        """The face, FRONT+REAR, or carriage."""
        return CARRIAGE if self.on_carriage else "+".join(self.faces)

    @property
    def is_across(self) -> bool:
        """Whether it is read across, from a front to a rear way."""
        return self.instrument is not None and self.instrument.measures.is_across

    @property
    def read_on(self) -> str:
        """How `waylog enter` and `waylog import` are told what it is read on."""
        if not self.is_across:
            return f"--face {self.name}"
        return f"--across {CARRIAGE if self.on_carriage else ' '.join(self.faces)}"

    @property
    def base_mm(self) -> float | None:
        """Distance between the feet, of a level."""
        return None if self.instrument is None else self.instrument.step_mm

    @property
    def unit(self) -> str | None:
        """What a bare number stands for; None where no instrument is named."""
        return None if self.instrument is None else self.instrument.reading_unit


def plan_sheet(bed: Bed, face: str, instrument: str | None = None, *, across: bool = False) -> Sheet:
    """Which stations a sheet asks for.

    Parameters
    ----------
    bed : Bed
    face : str
        A face, FRONT+REAR for a level across, or carriage.
    instrument : str, optional
        In bed.toml; a level is stepped foot to foot, everything else stands at the bed's stations.
    across : bool, optional
        A level on the carriage lies across it.

    Raises
    ------
    AnalysisError
        Where the face or the instrument is not there, or the two do not fit.
    """
    on_carriage = face == CARRIAGE
    faces = _carriage_ways(bed) if on_carriage else tuple(face.split("+"))
    for each in faces:
        if each not in bed.faces:
            raise AnalysisError(each, "found no such face in bed.toml", ", ".join((*bed.faces, CARRIAGE)))
    described = None if instrument is None else _measuring(bed, instrument)
    is_pair = across or (len(faces) == 2 and not on_carriage)
    if is_pair and described is not None:
        described = described.as_laid("roll")
    is_roll = described is not None and described.measures.is_across
    fits = (is_roll or not is_pair) if on_carriage else is_pair == is_roll
    if on_carriage and (described is None or not described.measures.is_angle):
        fits = False
    if len(faces) > 2 or len(set(faces)) < len(faces) or not fits:
        raise AnalysisError(
            face,
            f"does not fit {instrument or 'a sheet without an instrument'}",
            "FRONT+REAR for a level across, carriage for a level on it, one face for everything else",
        )
    return Sheet(faces, described, _stations(bed, described), on_carriage)


def _carriage_ways(bed: Bed) -> tuple[str, ...]:
    ways = tuple(bed.ridden_ways())
    if len(ways) != 2:
        raise AnalysisError(
            CARRIAGE,
            "found no two ways that it rides",
            'carriage = "front" and "rear" on two faces in bed.toml',
        )
    return ways


def _measuring(bed: Bed, name: str) -> Instrument:
    measuring = [each for each, found in bed.instruments.items() if found.measures.is_measuring]
    if name not in measuring:
        raise AnalysisError(
            name, "found no such measuring instrument in bed.toml", ", ".join(measuring) or "one"
        )
    return bed.instruments[name]


def _stations(bed: Bed, instrument: Instrument | None) -> tuple[float, ...]:
    if instrument is None or not instrument.step_mm:
        return bed.station_mm
    base_mm = instrument.step_mm
    steps = int(np.floor(bed.length_mm / base_mm + 1e-9))
    if steps < 1:
        raise AnalysisError(
            instrument.name, f"its base of {base_mm:g} mm is longer than the bed", "a shorter"
        )
    return tuple(round(base_mm * (step + 0.5), 6) for step in range(steps))


def write_sheets(bed: Bed, sheets: Sequence[Sheet], path: Path, paper: str = "A4") -> int:
    """Write the sheets into one PDF.

    Parameters
    ----------
    bed : Bed
    sheets : sequence of Sheet
    path : Path
        Replaced if it is there.
    paper : str
        A4 | Letter.

    Returns
    -------
    int
        Number of pages.

    Raises
    ------
    AnalysisError
        Where it cannot be written.
    """
    pages = [(sheet, rows) for sheet in sheets for rows in _on_pages(sheet, PAPERS[paper][1])]
    put_on_paper(path, bed, (_draw_page(bed, sheet, rows, paper) for sheet, rows in pages))
    return len(pages)


def put_on_paper(path: Path, bed: Bed, pages: Iterable[Figure]) -> None:
    """Put pages in place as one PDF, each drawn when its turn comes.

    Raises
    ------
    AnalysisError
        Where it cannot be written.
    """
    with told_as(AnalysisError, path, "cannot be written", ROOM), NewFile(path) as new:
        with look(), PdfPages(new.path, metadata={"CreationDate": None, "Title": bed.name}) as printed:
            for page in pages:
                printed.savefig(page)
        new.put_in_place(replace=True)


def _on_pages(sheet: Sheet, height_mm: float) -> list[range]:
    """Which stations stand on which page."""
    most = int((height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM) / ROW_MM)
    count = len(sheet.station_mm)
    return [range(start, min(start + most, count)) for start in range(0, count, most)]


def refuse_existing(paths: Sequence[Path]) -> None:
    """Refuse to write where there is a file already: it may hold readings.

    Raises
    ------
    AnalysisError
        With the first that is there.
    """
    for path in paths:
        if path.exists():
            raise AnalysisError(
                str(path), "is there already and may hold readings", do="move it away, or give --output"
            )


def write_twin(sheet: Sheet, path: Path, inch: bool = False) -> None:
    """Write the sheet as a table that `waylog import` takes back.

    Raises
    ------
    AnalysisError
        Where there is a file of that name already (it may hold readings), or it cannot be written.
    """
    unit = f" ({sheet.unit})" if sheet.unit else ""
    instrument = sheet.instrument.name if sheet.instrument else "INSTRUMENT"
    if sheet.instrument is None or sheet.instrument.measures.is_carried:
        instrument += " --reference WHAT_CARRIED_IT"
    lines = [
        f"# {sheet.name}; a row left empty is a gap. Take it back, once for each direction:",
        *(
            f"# waylog import SURVEY {path.name} {sheet.read_on} --instrument {instrument} "
            f"--direction {direction}"
            for direction in ("forward", "reverse")
        ),
        f"{'station (in)' if inch else 'station_mm'},forward{unit},reverse{unit},note",
        *(f"{round(station / MM_PER_INCH, 6) if inch else station:.10g},,," for station in sheet.station_mm),
    ]
    refuse_existing([path])
    with told_as(AnalysisError, path, "cannot be written", ROOM):
        write_file(path, ("\n".join(lines) + "\n").encode("utf-8"))


def _draw_page(bed: Bed, sheet: Sheet, rows: range, paper: str) -> Figure:
    width, height = PAPERS[paper]
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)  # downwards, as one writes
    axes.set_axis_off()
    _draw_head(axes, bed, sheet, rows, width)
    if bed.called.is_upright:
        standing = Outline(MARGIN_MM + 8.0, MARGIN_MM + 26.0, MARGIN_MM + 18.0, MARGIN_MM + 72.0)
        draw_standing(axes, bed, sheet.faces, sheet.station_mm, standing)
        place = (0.3, 1 - 84 / height, 0.62, 52 / height)
    else:
        lying = Outline(MARGIN_MM, width - MARGIN_MM, MARGIN_MM + 13.0, MARGIN_MM + 28.0)
        draw_from_above(axes, bed, sheet.faces, sheet.station_mm, lying)
        place = (0.15, 1 - 91 / height, 0.7, 44 / height)
    section = figure.add_axes(place)
    draw_section(section, bed, {}, {}, sheet.faces)
    _draw_fields(axes, bed, sheet, width)
    _draw_rows(axes, bed, sheet, rows, width)
    axes.text(MARGIN_MM, height - MARGIN_MM, CAUTION, va="bottom", fontsize=7, color=SOFT, linespacing=1.4)
    return figure


def _draw_head(axes: Axes, bed: Bed, sheet: Sheet, rows: range, width: float) -> None:
    count = len(sheet.station_mm)
    axes.text(MARGIN_MM, MARGIN_MM, sheet.name, va="top", fontsize=17, fontweight="bold")
    axes.text(width - MARGIN_MM, MARGIN_MM + 1, bed.name, va="top", ha="right", fontsize=9)
    part = "" if len(rows) == count else f"stations {rows.start + 1} to {rows.stop} of {count}"
    axes.text(width - MARGIN_MM, MARGIN_MM + 6.5, part, va="top", ha="right", fontsize=8, color=SOFT)
    axes.plot([MARGIN_MM, width - MARGIN_MM], [MARGIN_MM + 10] * 2, color=INK, linewidth=1.2)


def _draw_fields(axes: Axes, bed: Bed, sheet: Sheet, width: float) -> None:
    left, right = MARGIN_MM, width - MARGIN_MM
    y = MARGIN_MM + 83.0
    named = sheet.instrument
    words = named.name if named else "________________"
    if named is not None and sheet.base_mm:
        words += f", base {length_text(sheet.base_mm, bed.is_inch)}"
    if named is not None and named.per_division is not None:
        words += f", {named.per_division:g} {unit_text(named.unit)} a division"
    carried = "     carried on ________________" if named is None or named.measures.is_carried else ""
    axes.text(left, y, f"instrument: {words}{carried}", fontsize=9, va="center")
    for line in FIELDS:
        y += 7.5
        for x, name in zip(np.linspace(left, right, len(line) + 1).tolist(), line, strict=False):
            field = name.replace("°C", "°F") if bed.is_inch else name
            axes.text(x, y, field, fontsize=8, va="center")
            start = x + 2.0 + 1.55 * len(field)
            axes.plot([start, x + (right - left) / len(line) - 3], [y + 1.6] * 2, color=SOFT, linewidth=0.5)
    axes.text(left, y + 9.0, sign_words(named, bed.called), fontsize=8.5, va="center", fontweight="bold")


def sign_words(instrument: Instrument | None, called: Called) -> str:
    """What + and − mean, as the instrument shows them."""
    if instrument is None:
        return "Write down the sign of every reading, as the instrument shows it."
    measures = instrument.measures
    is_plumb = called.is_upright and measures.has_feet_along
    signs = UPRIGHT_SLOPE if is_plumb else (measures.read_with.plus, measures.read_with.minus)
    plus, minus = (each.format(origin=called.origin, far_end=called.far_end) for each in signs)
    if instrument.sign < 0:
        plus, minus = minus, plus
    return f"As the instrument shows it:  + means {plus};\n− means {minus}."


def _draw_rows(axes: Axes, bed: Bed, sheet: Sheet, rows: range, width: float) -> None:
    left, right, top = MARGIN_MM, width - MARGIN_MM, MARGIN_MM + HEAD_MM - 12.0
    columns = COLUMNS if sheet.base_mm else COLUMNS_WITHOUT_FEET
    edges = (left + (right - left) * np.array(columns)).tolist()
    for x, words in zip(edges, _heads(bed, sheet), strict=False):
        axes.text(x + 1.5, top + ROW_MM / 2, words, fontsize=8, va="center", color=SOFT)
    for line in range(len(rows) + 2):
        y, width_pt = top + ROW_MM * line, 0.9 if line < 2 else 0.4
        axes.plot([left, right], [y, y], color=INK if line < 2 else SOFT, linewidth=width_pt)
    for x in edges:
        axes.plot([x, x], [top, top + ROW_MM * (len(rows) + 1)], color=SOFT, linewidth=0.4)
    for line, index in enumerate(rows, 1):
        _draw_row(axes, bed, sheet, index, edges, top + ROW_MM * (line + 0.5))


def _heads(bed: Bed, sheet: Sheet) -> tuple[str, ...]:
    unit = f", {unit_text(sheet.unit)}" if sheet.unit else ""
    of_length = "in" if bed.is_inch else "mm"
    feet = (f"feet, {of_length}",) if sheet.base_mm else ()
    return ("", f"station, {of_length}", *feet, f"↓ forward{unit}", f"↑ reverse{unit}", "note")


def _draw_row(axes: Axes, bed: Bed, sheet: Sheet, index: int, edges: Sequence[float], y: float) -> None:
    at = sheet.station_mm[index]
    axes.text(edges[0] + 1.5, y, f"{index + 1}", fontsize=8, va="center", color=SOFT)
    axes.text(edges[2] - 3, y, _number(at, bed), fontsize=10, va="center", ha="right", fontweight="bold")
    if sheet.base_mm:
        feet = [_number(at + side * sheet.base_mm / 2, bed) for side in (-1, 1)]
        axes.text(edges[2] + 1.5, y, " – ".join(feet), fontsize=8, va="center")


def _number(mm: float, bed: Bed) -> str:
    return f"{round(mm / MM_PER_INCH, 2):g}" if bed.is_inch else f"{round(mm, 1):g}"
