"""A sound when a station is taken, another when something is wrong: bell, tones or speech."""

import struct
import sys
import time
import wave
from pathlib import Path

import numpy as np
import pytest

from acquire.cli import main
from acquire.console.showing import Screen
from acquire.console.sound import TAKEN, TUNES, WRONG, Aloud, aloud, sounding, spoken, write_tune
from acquire.model.errors import EntryError
from acquire.model.traverse import Setup
from tests.invented import bed_toml, level
from tests.terminals import wait_for

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="programs found by their name")
BED = bed_toml(
    600,
    instruments={
        "level": level(0.5, port={"url": "socket://level:1"}, wire={"kind": "lines", "example": "+1.5"})
    },
)


@pytest.fixture
def heard(tmp_path, monkeypatch):
    """A system whose only programs are a player and a speaker that write down what they were given."""

    def have(*names, code=0):
        folder = tmp_path / "programs"
        folder.mkdir(exist_ok=True)
        for name in names:
            script = folder / name
            script.write_text(
                f'#!/bin/sh\nfor last; do :; done\necho "$last" >> {tmp_path}/heard\nexit {code}\n'
            )
            script.chmod(0o755)
        monkeypatch.setenv("PATH", str(folder))
        return lambda: (tmp_path / "heard").read_text().splitlines() if (tmp_path / "heard").exists() else []

    return have


@pytest.mark.parametrize("kind", [TAKEN, WRONG])
def test_tones_are_a_sound_file_with_their_pitch_and_length(tmp_path, kind):
    """Another way: the pitch from the spectrum of what the file holds."""
    write_tune(tmp_path / "it.wav", TUNES[kind])
    with wave.open(str(tmp_path / "it.wav")) as file:
        rate, frames = file.getframerate(), file.readframes(file.getnframes())
    samples = np.array(struct.unpack(f"<{len(frames) // 2}h", frames), float)
    pitch = np.fft.rfftfreq(samples.size, 1 / rate)[np.argmax(np.abs(np.fft.rfft(samples)))]
    assert pitch == pytest.approx(TUNES[kind][0][0], abs=8)
    assert samples.size / rate == pytest.approx(sum(seconds for _, seconds in TUNES[kind]), abs=0.001)
    assert 0.4 < np.abs(samples).max() / 32_767 < 0.8


def test_speech_reads_out_places_signs_and_units_and_gives_a_program_no_option(heard):
    said = heard("espeak-ng")
    voice = aloud("speech")
    voice.sound(TAKEN, "300 mm: −12.5 µm/m")
    voice.sound(WRONG, "--version; `rm`: the port has gone")
    voice.close()
    assert said() == [
        "taken, 300 millimetres, minus 12.5 microns per metre",
        "look, version; rm , the port has gone",
    ]


def test_tones_play_one_file_for_a_station_and_another_for_trouble_and_leave_none_behind(heard):
    said = heard("aplay")
    voice = aloud("tones")
    voice.sound(TAKEN, "")
    voice.sound(WRONG, "")
    voice.close()
    one, other = said()
    assert one.endswith("taken.wav") and other.endswith("wrong.wav")
    assert not Path(one).parent.exists()


@pytest.mark.parametrize("kind", ["tones", "speech"])
def test_kind_that_the_system_cannot_make_is_refused_with_what_would_do(heard, kind, tmp_path, capsys):
    heard("nothing-of-the-kind")
    with pytest.raises(EntryError, match="--sound bell"):
        aloud(kind)
    (tmp_path / "bed.toml").write_text(BED)
    words = ["record", str(tmp_path), "front", "--instrument", "level", "--sound", kind]
    assert main(words) == 1 and "--sound" in capsys.readouterr().err
    assert not list(tmp_path.glob("traverses/*"))


def test_slow_player_holds_nothing_up_and_what_it_cannot_follow_is_left_out():
    busy = []

    def slow(kind, words):
        busy.append(words)
        time.sleep(0.05)

    voice = Aloud(slow)
    began = time.monotonic()
    for k in range(1000):
        voice.sound(TAKEN, str(k))
    assert time.monotonic() - began < 1.0
    voice.close()
    assert 1 <= len(busy) < 1000


def test_screen_plays_both_and_falls_to_the_bell_in_words_where_the_player_fails(heard, tmp_path):
    said = heard("aplay", code=1)
    voice = aloud("tones")
    setup = Setup("level", "slope", BED, number=7, face="front", position="stations")
    screen = Screen(tmp_path, setup, has_bell=False, aloud=voice)
    screen._heard_news("taken", "300")
    wait_for(lambda: voice.fault, "the fault of the player")
    screen._heard_news("problem", "the port has gone")
    voice.close()
    assert said()[0].endswith("taken.wav")
    assert any("no sound" in line and "the bell rings instead" in line for line in screen._lines)
    assert screen._has_bell and screen._aloud is None


def test_bell_rings_once_for_what_an_instrument_typed_and_twice_for_a_question(capsys):
    with sounding("bell") as sound:
        sound("typed", "100 mm: 3")
        assert capsys.readouterr().err == ""
        sound("taken", "100 mm: 3")
        assert capsys.readouterr().err == "\a"
        sound("wrong", "is it?")
        assert capsys.readouterr().err == "\a\a"


def test_sound_that_is_off_is_off(capsys):
    with sounding("off") as sound:
        sound("wrong", "is it?")
    assert capsys.readouterr().err == ""


def test_lengths_in_inches_are_read_out_whole():
    assert spoken("12 in: +0.5 thou (13 µm)") == "12 inches, plus 0.5 thou"
