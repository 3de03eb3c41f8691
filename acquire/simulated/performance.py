"""One traverse as it will be played: every byte of every instrument, and when."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from acquire.simulated.instruments import Sent, SimulatedInstrument, send
from acquire.simulated.motion import Motion, Step, motion_of
from acquire.simulated.truth import InventedBed


@dataclass(frozen=True)
class Tick:
    """One instant: the bytes that are on the lines then, and the keys pressed."""

    time_s: float
    data: Mapping[str, bytes]
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Performance:
    """Everything that will be sent in one traverse."""

    sent: Mapping[str, Sent]
    motion: Motion

    @property
    def seconds(self) -> float:
        """How long it plays."""
        return max(float(sent.time_s[-1]) for sent in self.sent.values())

    def ticks(self) -> Iterator[Tick]:
        """Instants in order; instruments that send at the same instant share one."""
        moments: dict[int, dict[str, bytes]] = {}
        for name, sent in self.sent.items():
            for time_s, frame in zip(sent.time_s.tolist(), sent.frames, strict=True):
                at = moments.setdefault(round(time_s * 1e6), {})
                at[name] = at.get(name, b"") + frame
        keys: dict[int, list[str]] = {}
        for time_s, text in self.motion.marks:
            keys.setdefault(round(time_s * 1e6), []).append(text)
        for at_us in sorted(moments.keys() | keys.keys()):
            yield Tick(at_us / 1e6, moments.get(at_us, {}), tuple(keys.get(at_us, ())))


def perform(
    bed: InventedBed,
    instruments: Mapping[str, SimulatedInstrument],
    script: tuple[float, list[Step]],
    seed: int,
) -> Performance:
    """Work out a whole traverse; the same seed gives the same bytes.

    Examples
    --------
    >>> from acquire.simulated.instruments import fixed_line
    >>> from acquire.simulated.motion import Hold
    >>> from acquire.simulated.physics import Position
    >>> scale = SimulatedInstrument(Position(), fixed_line(2, 8), resolution=0.01, rate_hz=2)
    >>> played = perform(InventedBed(1), {"scale": scale}, (120.0, [Hold(1.0)]), seed=1)
    >>> [(tick.time_s, tick.data["scale"]) for tick in played.ticks()]
    [(0.5, b'+00120.00\\r\\n'), (1.0, b'+00120.00\\r\\n')]
    """
    motion = motion_of(*script)
    streams = np.random.SeedSequence(seed).spawn(len(instruments))
    sent = {
        name: send(instrument, bed, motion, np.random.default_rng(stream))
        for (name, instrument), stream in zip(instruments.items(), streams, strict=True)
    }
    return Performance(sent, motion)
