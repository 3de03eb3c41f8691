"""The good readings of the measuring instrument, each with the place where it was taken."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.recorded import Event
from acquire.model.traverse import FLAGS, Setup, Stream
from acquire.model.units import finite_number
from acquire.reduce.no_station import MARK as NO_MARK
from acquire.reduce.no_station import REST, SAME_MARK_S, times_taken_back
from acquire.reduce.streams import is_asked
from acquire.reduce.tagging.dwells import Dwell, dwells_by_position
from acquire.reduce.tagging.lumps import Lumps, lumps_of
from acquire.reduce.tagging.positions import longest_gap_of, places_of, positions_at, positions_by_feed

MARK = "mark"
LUMPS = "lumps"
"""Kind of the derived event that says of a stream that its lines came in lumps."""
FEED_FROM = "feed_from"
"""Kind of the event that says, in mm, where a feed starts."""
STATION_WORD = "station"


@dataclass(frozen=True, eq=False)
class Placed:
    """Good readings in the contract's unit; where each was taken (NaN: not known)."""

    setup: Setup
    index: np.ndarray
    """Of each in the measuring instrument's stream."""
    time_s: np.ndarray
    reading: np.ndarray
    position_mm: np.ndarray
    scale_time_s: np.ndarray
    """The position stream itself, strictly rising in time; empty where there is none."""
    scale_mm: np.ndarray
    scale_gap_s: float
    marks: tuple[tuple[float, float | None], ...]
    """Time of each mark, and the station named with it, if one was."""
    said: tuple[Event, ...] = ()
    no_rests_s: tuple[float, ...] = ()
    """Times within rests that are no station, as was said of them."""
    slack_s: float = 0.0
    """How far readings and positions may be out against each other in time, where lines came in lumps."""

    @property
    def has_scale(self) -> bool:
        """Whether a position stream tells where the instrument was."""
        return len(self.scale_mm) > 1

    @cached_property
    def stops(self) -> list[Dwell]:
        """Where the position stream stood still, however briefly."""
        return dwells_by_position(self.scale_time_s, self.scale_mm, self.scale_gap_s)


def placed(
    setup: Setup, streams: Mapping[str, Stream], events: Sequence[Event], columns: Columns = IN_MEMORY
) -> Placed:
    """Take the good readings and say where each was taken, by the time of each.

    Every column is put into `columns` as it is made.
    """
    stream = streams[setup.instrument]
    index = columns.keep(np.flatnonzero(stream.is_good & np.isfinite(stream.value)))
    time_s = columns.keep(stream.time_s[index])
    reading = columns.keep(setup.described.to_contract(stream.value[index]))
    said: list[Event] = []
    slack_s = _in_lumps(setup, streams, said, columns)
    if setup.standing is not None:
        reading = columns.keep(_standing_subtracted(setup, streams, time_s, reading, said, columns))
    marks = _marks_left(events)
    scale_time_s, scale_mm = _scale(setup, streams, columns)
    gap_s = longest_gap_of(scale_time_s)
    columns.let_go()
    if len(scale_mm):
        position_mm = columns.keep(positions_at(time_s, scale_time_s, scale_mm, gap_s))
    elif setup.placed_by.is_feed:
        position_mm = _fed(setup, time_s, marks, _feed_from(setup, marks, events), said)
    else:
        position_mm = np.full(len(time_s), np.nan)
    no_rests_s = times_taken_back(REST, events)
    return Placed(
        setup,
        index,
        time_s,
        reading,
        position_mm,
        scale_time_s,
        scale_mm,
        gap_s,
        marks,
        tuple(said),
        no_rests_s,
        slack_s,
    )


def _in_lumps(setup: Setup, streams: Mapping[str, Stream], said: list[Event], columns: Columns) -> float:
    """How far times may be out, all in all, where lines came in lumps; words on each stream of that kind."""
    slack_s = 0.0
    for name in dict.fromkeys((setup.instrument, setup.placed_by.scale, setup.standing)):
        stream = streams.get(name or "")
        described = setup.bed.instruments.get(name or "")
        if stream is None or described is None or is_asked(described):
            continue
        lumps = lumps_of(stream.arrival_s)
        if lumps is not None:
            slack_s += lumps.slack_s
            said.append(Event(max(0.0, float(stream.arrival_s[0])), LUMPS, _lump_words(stream, lumps)))
        columns.let_go()
    return slack_s


def _lump_words(stream: Stream, lumps: Lumps) -> str:
    words = (
        f"{stream.instrument}: its adapter hands over lines in lumps of {lumps.length_s:.2g} s "
        f"({lumps.lines:.0f} lines each)"
    )
    unknown = int(np.count_nonzero(stream.flag == FLAGS["late"]))
    if lumps.is_known.any():
        words += f"; they are sent at a steady rate, which tells their times to {lumps.slack_s:.2f} s"
    if unknown:
        words += f"; when {unknown} lines were sent cannot be told, and they are not used"
    return f"{words}. Set the adapter to hand over at once (hardware_notes/usb_latency.md)"


def _marks_left(events: Sequence[Event]) -> tuple[tuple[float, float | None], ...]:
    """The operator's marks without those that were taken back."""
    gone_s = times_taken_back(NO_MARK, events)
    marks = marks_in(events)
    return tuple(mark for mark in marks if not any(abs(mark[0] - gone) <= SAME_MARK_S for gone in gone_s))


def marks_in(events: Sequence[Event]) -> tuple[tuple[float, float | None], ...]:
    """Times of the operator's marks, each with the station it names ("station 350").

    Examples
    --------
    >>> marks_in([Event(1.5, "mark", "station 350"), Event(9.0, "mark", "key")])
    ((1.5, 350.0), (9.0, None))
    """
    return tuple((event.time_s, _station_named(event.text)) for event in events if event.kind == MARK)


def _station_named(text: str) -> float | None:
    words = text.split()
    after = words[words.index(STATION_WORD) + 1 :] if STATION_WORD in words else []
    return finite_number(after[0]) if after else None


def _scale(setup: Setup, streams: Mapping[str, Stream], columns: Columns) -> tuple[np.ndarray, np.ndarray]:
    name = setup.placed_by.scale
    if name is None or name not in streams or name not in setup.bed.instruments:
        return np.zeros(0), np.zeros(0)
    stream = streams[name]
    good = stream.is_good & np.isfinite(stream.value)
    good[good] = np.diff(stream.time_s[good], prepend=-np.inf) > 0
    time_s = columns.keep(stream.time_s[good])
    return time_s, columns.keep(setup.bed.instruments[name].to_contract(stream.value[good]))


def places_in_order(setup: Setup) -> np.ndarray:
    """Where this traverse is read if it is stepped, in the order of its direction.

    Of a level, stepped foot to foot, the middles of its base; of all others the bed's stations.
    """
    stations = np.array(setup.bed.station_mm)
    return places_of(stations, setup.described.step_mm, setup.direction, setup.bed.length_mm)


def start_place(setup: Setup) -> float:
    """Where a traverse begins unless something else is said."""
    places = places_in_order(setup)
    return float(places[0]) if len(places) else float(setup.bed.station_mm[0])


def _feed_from(setup: Setup, marks: Sequence[tuple[float, float | None]], events: Sequence[Event]) -> float:
    """Where a feed starts: as the first mark names it, as said beforehand, or where a traverse begins."""
    if marks and marks[0][1] is not None:
        return marks[0][1]
    for event in events:
        if event.kind == FEED_FROM and (said := finite_number(event.text)) is not None:
            return said
    return start_place(setup)


def _fed(
    setup: Setup,
    time_s: np.ndarray,
    marks: Sequence[tuple[float, float | None]],
    start_mm: float,
    said: list[Event],
) -> np.ndarray:
    """Positions under the stated feed between the first mark and the last."""
    if len(time_s) == 0:
        return np.zeros(0)
    feed = (setup.placed_by.feed_mm_per_s or 0.0) * (-1 if setup.direction == "reverse" else 1)
    start_s = marks[0][0] if marks else float(time_s[0])
    end_s = marks[-1][0] if len(marks) > 1 else float(time_s[-1])
    if len(marks) < 2:
        missing = "no mark" if not marks else "no second mark"
        said.append(
            Event(start_s, "feed", f"{missing}: the feed is taken from {start_s:.2f} s to {end_s:.2f} s")
        )
    reached = start_mm + feed * (end_s - start_s)
    said.append(
        Event(end_s, "feed", f"from {start_mm:g} mm at {abs(feed):g} mm/s to {reached:.1f} mm at the end")
    )
    return positions_by_feed(time_s, start_s, end_s, start_mm, feed)


def _standing_subtracted(
    setup: Setup,
    streams: Mapping[str, Stream],
    time_s: np.ndarray,
    reading: np.ndarray,
    said: list[Event],
    columns: Columns,
) -> np.ndarray:
    """Readings less what the instrument standing still did at the same times.

    Its mean stays in: both have zeros of their own, and only its changes are the floor's.
    Where it did not read, nothing can be subtracted and the reading is not used (NaN).
    """
    stream = streams.get(setup.standing or "")
    if stream is None or not stream.is_good.any():
        said.append(
            Event(0.0, "standing", f"{setup.standing} said nothing: nothing of it could be subtracted")
        )
        return reading
    good = stream.is_good & np.isfinite(stream.value)
    standing_time_s = columns.keep(stream.time_s[good])
    reference = columns.keep(setup.bed.instruments[stream.instrument].to_contract(stream.value[good]))
    gap_s, changes = longest_gap_of(standing_time_s), columns.keep(reference - reference.mean())
    at_equal_times = columns.keep(positions_at(time_s, standing_time_s, changes, gap_s))
    lost = int(np.isnan(at_equal_times).sum())
    unit = setup.described.contract_unit
    words = f"changes of {stream.instrument} subtracted at equal times (up to {np.ptp(reference):.3g} {unit})"
    said.append(
        Event(0.0, "standing", words + (f"; {lost} readings without it are not used" if lost else ""))
    )
    return reading - at_equal_times
