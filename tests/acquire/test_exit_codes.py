"""The exit codes that scripts rely on, each with what is said and where: what ends a command is invented."""

import errno

import click
import pytest

from acquire import cli
from acquire.model.errors import SurveyError

NO_ROOM = OSError(errno.ENOSPC, "No space left on device")


@pytest.fixture
def ended(monkeypatch, capsys):
    """The code of a command that ends so, and what it said on standard output and standard error."""

    def end(by):
        def command(**_):
            if isinstance(by, BaseException):
                raise by
            return by

        monkeypatch.setattr(cli.waylog, "main", command)
        return cli.main(["map"]), *capsys.readouterr()

    return end


@pytest.mark.parametrize(
    ("by", "code", "said"),
    [
        (None, 0, ""),
        (0, 0, ""),
        (1, 1, ""),
        (SurveyError("invented", "found nothing", "a survey"), 1, "invented"),
        (click.UsageError("no such thing"), 2, "no such thing"),
        (KeyboardInterrupt(), 130, "stopped"),
        (click.Abort(), 130, "stopped"),
        (NO_ROOM, 1, "No space left on device"),
        (BrokenPipeError(errno.EPIPE, "Broken pipe"), 1, ""),
        (ZeroDivisionError("a bug"), 70, "Traceback"),
    ],
    ids=lambda each: type(each).__name__ if isinstance(each, BaseException) else None,
)
def test_each_end_of_a_command_has_its_code_and_is_told_on_standard_error(ended, by, code, said, monkeypatch):
    monkeypatch.setattr(cli.os, "dup2", lambda *_: None)  # the tests' own standard output stays open
    found, out, told = ended(by)
    assert (found, out) == (code, "")
    assert said in told if said else told == ""
