"""A sound when a station is taken and another when something is wrong, for a person who looks elsewhere.

The terminal's bell needs nothing. Tones are sound files made here and played, words are spoken, by
whatever program of the system does that; none of it ever waits for or stops a recording.
"""

import math
import queue
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import threading
import wave
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from acquire.model.errors import EntryError

BELL, TONES, SPEECH = "bell", "tones", "speech"
TAKEN, WRONG = "taken", "wrong"

PLAYERS = (("pw-play",), ("paplay",), ("aplay", "-q"), ("afplay",))
"""Programs that play a sound file, on Linux and macOS."""
SPEAKERS = (("spd-say", "--wait"), ("espeak-ng",), ("espeak",), ("say",))
RATE_HZ = 22_050
LOUDNESS = 0.6
TUNES = {TAKEN: ((880.0, 0.15),), WRONG: ((330.0, 0.2), (0.0, 0.08), (330.0, 0.2))}
"""Of each sound: tones in Hz and how long, in s; 0 Hz is silence."""
LONGEST_S, CLOSING_S = 10.0, 3.0
MOST_WAITING = 2
BETWEEN_BELLS_S = 0.2
LONGEST_WORDS = 120


class Aloud:
    """Plays or speaks in a thread of its own; what comes while it is busy with two others is left out.

    Parameters
    ----------
    say : callable
        Makes one sound and returns when it is over: a kind (taken, wrong) and words.
    close : callable, optional
        Clears up.
    """

    def __init__(self, say: Callable[[str, str], None], close: Callable[[], None] = lambda: None):
        self._say, self._close = say, close
        self._waiting: queue.Queue[tuple[str, str] | None] = queue.Queue(MOST_WAITING)
        self._thread = threading.Thread(target=self._run, name="waylog sound", daemon=True)
        self._thread.start()
        self.fault = ""
        """Why there is no sound any more; empty while there is."""

    def sound(self, kind: str, words: str) -> None:
        """Make a sound, at once or soon."""
        with suppress(queue.Full):
            self._waiting.put_nowait((kind, words))

    def close(self) -> None:
        """End it; what still sounds is waited for, but not for long."""
        with suppress(queue.Full):
            self._waiting.put(None, timeout=CLOSING_S)
        self._thread.join(CLOSING_S)
        self._close()

    def _run(self) -> None:
        while (each := self._waiting.get()) is not None:
            try:
                self._say(*each)
            except (OSError, subprocess.SubprocessError) as fault:
                self.fault = self.fault or f"no sound: {fault}"


def aloud(kind: str) -> Aloud | None:
    """What plays tones or speaks; None where neither is wanted.

    Raises
    ------
    EntryError
        If the system has no program that does it.
    """
    if kind == TONES:
        return _tones()
    if kind == SPEECH:
        return _speech()
    return None


@contextmanager
def sounding(kind: str) -> Iterator[Callable[[str, str], None]]:
    """Gives what sounds while readings are typed; of those that a hand types only speech says something."""
    if kind == BELL:
        yield _ring
        return
    voice = aloud(kind)
    if voice is None:
        yield lambda kind, words: None
        return
    try:
        yield lambda each, words: _sound_with(voice, kind == SPEECH, each, words)
    finally:
        voice.close()


def _sound_with(voice: Aloud, is_spoken: bool, kind: str, words: str) -> None:
    if kind in (TAKEN, WRONG) or is_spoken:
        voice.sound(WRONG if kind == WRONG else TAKEN, words)
    if voice.fault:
        sys.stderr.write(f"note: {voice.fault}\n")
        voice.fault = ""


def _ring(kind: str, words: str) -> None:
    """Once for a reading taken, twice when something is wrong."""
    for at in range({TAKEN: 1, WRONG: 2}.get(kind, 0)):
        if at:
            threading.Event().wait(BETWEEN_BELLS_S)
        sys.stderr.write("\a")
        sys.stderr.flush()


def spoken(words: str) -> str:
    """Words as they are read out: units in full, signs as words, nothing else but letters and numbers.

    Examples
    --------
    >>> spoken("300 mm: −12.5 µm (-0.49 thou)")
    '300 millimetres, minus 12.5 microns'
    """
    text = re.sub(r"\s*\([^)]*\)", "", words)
    for pattern, said in _SAID:
        text = re.sub(pattern, said, text)
    return " ".join(re.sub(r"[^\w.,;? ]", " ", text).split())[:LONGEST_WORDS]


_SAID = (
    (r"[-−–](?=\d)", "minus "), (r"\+(?=\d)", "plus "), (r"µm/m\b|um/m\b", "microns per metre"),
    (r"mm/m\b", "millimetres per metre"), (r"thou/ft\b", "thou per foot"), (r"(?<=[\d ])mm\b", "millimetres"),
    (r"(?<=[\d ])[µu]m\b", "microns"), (r"(?<=\d) in\b", " inches"), (r":", ","),
)  # fmt: skip


def _tones() -> Aloud:
    folder = Path(tempfile.mkdtemp(prefix="waylog-sound-"))
    files = {kind: folder / f"{kind}.wav" for kind in TUNES}
    try:
        play = _played_by_windows if sys.platform == "win32" else _program(PLAYERS, "plays sound files")
        for kind, path in files.items():
            write_tune(path, TUNES[kind])
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return Aloud(
        lambda kind, words: play(str(files[kind])), lambda: shutil.rmtree(folder, ignore_errors=True)
    )


def _speech() -> Aloud:
    speak = _spoken_by_windows if sys.platform == "win32" else _program(SPEAKERS, "speaks")
    # a word first: what begins with a stroke would be an option of the program
    return Aloud(lambda kind, words: speak(f"{'look' if kind == WRONG else kind}, {spoken(words)}"))


def _program(known: Sequence[tuple[str, ...]], does: str) -> Callable[[str], None]:
    found = next((command for command in known if shutil.which(command[0])), None)
    if found is None:
        names = " | ".join(command[0] for command in known)
        raise EntryError(
            "--sound", f"found no program that {does}", names, "install one, or take --sound bell"
        )
    return lambda what: _run_quietly([*found, what])


def _run_quietly(command: Sequence[str]) -> None:
    subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        timeout=LONGEST_S,
        check=True,
        start_new_session=True,  # Ctrl-C ends the recording, not the sound of it
    )


def _played_by_windows(path: str) -> None:
    import importlib

    winsound = importlib.import_module("winsound")
    winsound.PlaySound(path, winsound.SND_FILENAME)


def _spoken_by_windows(words: str) -> None:
    script = (
        "Add-Type -AssemblyName System.Speech; "
        f"(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak('{words}')"
    )
    _run_quietly(["powershell", "-NoProfile", "-Command", script])


def write_tune(path: Path, tones: Sequence[tuple[float, float]]) -> None:
    """Write tones, each in Hz and s, as a sound file (WAV, one channel of 16 bits)."""
    samples: list[int] = []
    for pitch_hz, seconds in tones:
        count = round(seconds * RATE_HZ)
        swell = [min(1.0, k / 200, (count - k) / 200) for k in range(count)]  # no click at its ends
        samples += [
            round(32_767 * LOUDNESS * swell[k] * math.sin(2 * math.pi * pitch_hz * k / RATE_HZ))
            for k in range(count)
        ]
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(struct.pack(f"<{len(samples)}h", *samples))
