"""One bench session: looking on, a still record, placings, turning end for end.

What listens, shows and reads keys is handed in; time is the receiver's.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from acquire.bench.listening import LOOK_S, Receiver
from acquire.bench.seating import (
    SAME_PLACE_UM,
    Reversal,
    Seating,
    feet_um_per_reading,
    placings,
    reversal_of,
    seating_of,
    settled_readings,
)
from acquire.bench.still import StillRecord, still_record
from acquire.bench.views import View
from acquire.model.bed import Instrument
from acquire.model.errors import AcquireError
from acquire.model.units import clock_text, unit_text
from acquire.reduce.tagging.dwells import Dwell

JUDGE_EVERY_S = 0.5
TURNS = (
    "stand it at its place, level or nearly so, and take your hands off",
    "turn it end for end on the same place (do not lay it down in between)",
    "turn it back as it was, on the same place",
)


@dataclass
class BenchSession:
    """Who listens, who shows, and who may end it.

    Attributes
    ----------
    receiver, view
        As opened by the command.
    key : callable
        The key pressed, or "" (never waits).
    seconds
        End by itself after so long; None: only when told.
    """

    receiver: Receiver
    view: View
    key: Callable[[], str] = lambda: ""
    seconds: float | None = None
    is_stopped: bool = field(default=False)

    def stop(self, reason: str = "", is_complete: bool = True) -> None:
        """End at the next look; may be called from a signal handler."""
        self.is_stopped = True

    def goes_on(self, heading: Sequence[str] = ()) -> bool:
        """Listen, show and look for `q`; false where it is to end."""
        self.receiver.listen(LOOK_S)
        self.view.paint(self.receiver.look(), self.receiver.now_s(), heading)
        is_over = self.seconds is not None and self.receiver.now_s() >= self.seconds
        if self.key() == "q" or is_over:
            self.stop()
        return not self.is_stopped

    def look_on(self) -> None:
        """Show the instruments until it is ended."""
        while self.goes_on():
            pass

    def stand_still(self, seconds: float, dwell_s: float) -> dict[str, StillRecord | AcquireError]:
        """A still record of every instrument; ended early it is made of what there is."""
        start_s = self.receiver.now_s()
        self.view.say(
            f"still record of {clock_text(seconds)} min: hands off, stand clear, no doors, no traffic"
        )
        while (gone_s := self.receiver.now_s() - start_s) < seconds:
            if not self.goes_on(
                [f"still record, {clock_text(gone_s)} of {clock_text(seconds)} min: hands off"]
            ):
                break
        return {i.name: _evaluated(self.receiver, i, dwell_s) for i in self.receiver.instruments}

    def replace(self, instrument: Instrument, count: int, dwell_s: float, gauge_mm: float | None) -> Seating:
        """The seating from `count` placings, each taken when it has settled.

        Raises
        ------
        AcquireError
            If fewer than four were taken, or the instrument has no feet to seat.
        """
        scale = feet_um_per_reading(instrument, gauge_mm)

        def words(taken: int) -> str:
            if taken == 0:
                return "stand it at its place and take your hands off"
            return "lift it clear, wipe, put it back on the same place the same way round, hands off"

        readings = self._placed(instrument, count, dwell_s, scale, words, SAME_PLACE_UM)
        return seating_of(readings, scale)

    def reverse(self, instrument: Instrument, dwell_s: float, gauge_mm: float | None) -> Reversal:
        """Zero of a level: read, turned end for end, turned back.

        Raises
        ------
        AcquireError
            If it is no level, or was ended before all three were read.
        """
        if not instrument.measures.is_angle or not instrument.gravity:
            raise AcquireError(
                instrument.name,
                f"is a {instrument.quantity} instrument{'' if instrument.gravity else ' without gravity'}",
                "a level: only gravity reads the same place the other way round",
            )
        scale = feet_um_per_reading(instrument, gauge_mm)
        readings = self._placed(instrument, 3, dwell_s, scale, TURNS.__getitem__, np.inf)
        if len(readings) < 3:
            raise AcquireError(
                instrument.name, f"was read {len(readings)} times", "three: as it was, turned, turned back"
            )
        return reversal_of(*readings)

    def _placed(
        self,
        instrument: Instrument,
        count: int,
        dwell_s: float,
        scale: float,
        words: Callable[[int], str],
        same_place_um: float,
    ) -> list[float]:
        """The settled reading of each placing, in the contract's unit."""
        found: list[Dwell] = []
        said, due_s = -1, self.receiver.now_s()
        while len(found) < count:
            if len(found) > said:
                self._tell(instrument, found, count, words)
                said = len(found)
            if not self.goes_on([f"{said} of {count} taken: {words(said)}"]):
                break
            if self.receiver.now_s() >= due_s:
                due_s = self.receiver.now_s() + JUDGE_EVERY_S
                found = _found(self.receiver, instrument, dwell_s, scale, same_place_um)
        if len(found) > said:
            self._tell(instrument, found, count, lambda _: "that was the last; let go of it")
        time_s, reading = _meant(self.receiver, instrument)
        return [station.reading for station in settled_readings(time_s, reading, found[:count])]

    def _tell(
        self, instrument: Instrument, found: Sequence[Dwell], count: int, words: Callable[[int], str]
    ) -> None:
        if found:
            self.view.bell()
            time_s, reading = _meant(self.receiver, instrument)
            last = settled_readings(time_s, reading, found)[-1].reading
            self.view.say(
                f"placing {len(found)} of {count}: {last:.1f} {unit_text(instrument.contract_unit)}"
            )
        if not self.is_stopped:
            self.view.say(words(len(found)))


def _evaluated(receiver: Receiver, instrument: Instrument, dwell_s: float) -> StillRecord | AcquireError:
    try:
        return still_record(*receiver.kept[instrument.name].arrays(), dwell_s)
    except AcquireError as error:
        return AcquireError(instrument.name, error.found, error.needed, error.do)


def _meant(receiver: Receiver, instrument: Instrument) -> tuple[np.ndarray, np.ndarray]:
    time_s, value = receiver.kept[instrument.name].arrays()
    return time_s, instrument.to_contract(value)


def _found(
    receiver: Receiver, instrument: Instrument, dwell_s: float, scale: float, same_place_um: float
) -> list[Dwell]:
    return placings(
        *_meant(receiver, instrument),
        receiver.kept[instrument.name].bad_time_s,
        um_per_reading=scale,
        resolution=instrument.contract_resolution,
        needed_s=dwell_s + 1.0,
        same_place_um=same_place_um,
    )
