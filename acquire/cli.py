"""The program's one command line: a table of commands, imported only when called.

This is where the two houses are joined: the analysis commands are named here as text.
"""

import importlib
import os
import re
import sys
import traceback
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

import click
from click.shell_completion import CompletionItem

from acquire.model.errors import WaylogError, did_you_mean
from acquire.model.inch_words import in_owners_unit
from acquire.model.plain_files import open_plain
from acquire.model.saying import say
from acquire.record.own_process import run_to_its_end

# The matrices are small: several arithmetic threads cost more time than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS: dict[str, tuple[str, str]] = {
    "start": ("acquire.commands.start", "make a survey folder with a bed.toml to fill in"),
    "ports": ("acquire.commands.ports", "list the serial ports, and what the survey expects where"),
    "identify": ("acquire.commands.identify", "find out how an instrument on a port speaks"),
    "watch": ("acquire.commands.watch", "look at the instruments; their noise, seating and zero"),
    "record": ("acquire.commands.record", "log a traverse from the instruments' ports"),
    "enter": ("acquire.commands.enter", "type the readings of a traverse, station by station"),
    "page": ("acquire.commands.page", "readings typed on a phone or tablet; live figures of `record`"),
    "marks": ("acquire.commands.marks", "keep what blue a straightedge left on a face"),
    "sheet": ("analysis.commands.sheet", "print-ready sheets to write readings on"),
    "import": ("acquire.commands.import_csv", "take the readings of a traverse from a CSV file"),
    "show": ("acquire.commands.show", "list what a survey or a traverse file holds"),
    "mend": ("acquire.commands.mend", "bring back recordings that were cut short"),
    "undo": ("acquire.commands.undo", "take the last traverse out again (moved aside, never deleted)"),
    "correct": ("acquire.commands.correct", "correct one misread of a traverse, or strike it out"),
    "redo": ("acquire.commands.redo", "derive traverses anew from their raw bytes"),
    "export": ("acquire.commands.export", "write a survey as CSV or as one HDF5 file"),
    "demo": ("acquire.commands.demo", "the whole job on an invented bed, without hardware"),
    "map": ("analysis.commands.map", "the shape of one face: how straight, hollow or crowned"),
    "twist": ("analysis.commands.twist", "how twisted the bed is, front against rear"),
    "compare": ("analysis.commands.compare", "hold two maps of the same thing against each other"),
    "combine": ("analysis.commands.combine", "one bed map from every traverse of the survey"),
    "next": ("analysis.commands.next", "which further traverse would help most"),
    "taper": ("analysis.commands.taper", "how two faces taper, measured across by caliper or over pins"),
    "joints": ("analysis.commands.joints", "how the pieces of a bed meet, and what would close the joints"),
    "ripples": ("analysis.commands.ripples", "steps and ripples that noise does not explain"),
    "datums": (
        "analysis.commands.datums",
        "which faces can be trusted to start from, and which are parallel",
    ),
    "plan": ("analysis.commands.plan", "what to take off a face, and what blue to expect"),
    "saddle": ("analysis.commands.saddle", "how far the saddle comes down; what it asks of apron and rack"),
    "blue": ("analysis.commands.blue", "where a straightedge would mark, held against the marks seen"),
    "align": ("analysis.commands.align", "tailstock, spindle, quill, centres, cross slide against the ways"),
    "kept": ("analysis.commands.kept", "the tests that were kept with the survey, answered again"),
    "square": ("analysis.commands.square", "a column or spindle against the table; errors of the square"),
    "flanks": ("analysis.commands.flanks", "which flank of a vee is worn; its angles by two rollers"),
    "dovetail": (
        "analysis.commands.dovetail",
        "a dovetail by pins: width, angle, taper, worn flank; its gib",
    ),
    "feet": ("analysis.commands.feet", "which foot to move, which way, how much; what is read then"),
    "limits": ("analysis.commands.limits", "your own limits: meets, does not meet, or cannot tell"),
    "work": ("analysis.commands.work", "what the ways do to a part turned on them"),
    "history": ("analysis.commands.history", "before and after work on the bed: did it get better"),
    "report": ("analysis.commands.report", "write the report of the survey as one page"),
}


class CommandTable(click.Group):
    """A group whose commands are imported only when one is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names, in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the file of one command."""
        if cmd_name not in COMMANDS:
            return None
        from acquire.commands.completing import completing_names

        return completing_names(importlib.import_module(COMMANDS[cmd_name][0]).command)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; of a wrong word, the nearest one is proposed."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise click.UsageError(f"No such command {args[0]!r}.{_near(args[0])}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table alone; click's own way would import every one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete names from the table alone, for the same reason."""
        return [
            CompletionItem(name, help=words)
            for name, (_, words) in COMMANDS.items()
            if name.startswith(incomplete)
        ]


def _near(word: str) -> str:
    """What may have been meant; empty where nothing is like it.

    Examples
    --------
    >>> _near("straightness"), _near("mpa")
    ('', ' Did you mean map?')
    """
    meant = did_you_mean(word, COMMANDS)
    return f" {meant[0].upper()}{meant[1:]}" if meant else ""


@click.command(cls=CommandTable, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="waylog")
@click.option(
    "--quiet", "-q", is_flag=True, help="Answers with their notes, cautions and faults only: no bars."
)
@click.option("--verbose", "-v", is_flag=True, help="All there is to say; also what lies behind a fault.")
@click.pass_context
def waylog(ctx: click.Context, quiet: bool, verbose: bool) -> None:
    """Measure the ways of a machine tool and work out what shape they are in.

    Before any instrument goes on the machine: isolate it from the mains and lock it off.
    """
    if quiet and verbose:
        raise click.UsageError("--quiet or --verbose, not both.")
    ctx.ensure_object(dict)["verbose"] = verbose


def companion(*about: Any) -> Any:
    """What looks over the shoulder while readings are taken: the profile so far, the next reading."""
    return importlib.import_module("analysis.words.companion").Companion(*about)


def run_doubt(survey: Any, number: int) -> Any:
    """What the rest of the survey contradicts in the run of this number; None where nothing."""
    if len(importlib.import_module("acquire.store").files_of(survey)) < 2:
        return None  # and nothing of the other house is loaded
    return importlib.import_module("analysis.words.run_doubt").run_doubt(survey, number)


def set_up(*about: Any) -> Any:
    """How an instrument stands on the bed for a run: a drawing, and what + and − mean."""
    return importlib.import_module("analysis.draw.set_up").set_up(*about)


BUG = 70
"""Exit code of what nobody expected (EX_SOFTWARE of BSD's sysexits.h, from memory)."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 1 an expected failure (told in one line), 2 wrong usage, 70 a bug."""
    try:
        return _run(argv)
    except Exception:  # the traceback is for whoever mends it, the code for the script that called
        with suppress(OSError):
            traceback.print_exc()
        return BUG


def _run(argv: Sequence[str] | None) -> int:
    shared: dict[str, Any] = {"companion": companion, "run_doubt": run_doubt, "set_up": set_up}
    try:
        result = waylog.main(args=argv, prog_name="waylog", standalone_mode=False, obj=shared)
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except WaylogError as error:
        say(f"waylog: {in_owners_unit(str(error), _is_of_inches(argv))}", err=True)
        for cause in _causes(error) if shared.get("verbose") else ():
            say(f"  because of {type(cause).__name__}: {cause}", err=True)
        return 1
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        say("waylog: stopped.", err=True)
        return 130
    except OSError as error:
        return _told_by_the_system(error, bool(shared.get("verbose")))


def _told_by_the_system(error: OSError, is_verbose: bool) -> int:
    """A disk, a terminal or a file that fails where no command had words for it: one line all the same."""
    where, needed = str(error.filename), ""
    if error.filename is None:  # every write to a file has words of its own; what is left is the output
        where, needed = "standard output", "; needed: room there, and a reader"
        with suppress(OSError, ValueError):  # what waits in it is given up, or it fails again at exit
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    with suppress(OSError):
        if not isinstance(error, BrokenPipeError):
            say(f"waylog: {where}: {error.strerror or error}{needed}.", err=True)
        if is_verbose:
            traceback.print_exception(error)
    return 1


LONGEST_LOOK = 1 << 20
"""Bytes of a bed.toml in which its unit is looked for."""


def _is_of_inches(argv: Sequence[str] | None) -> bool:
    """Whether a survey named on the command line is shown in inches; one that cannot be read is not."""
    for word in sys.argv[1:] if argv is None else argv:
        with suppress(OSError, ValueError):
            with open_plain(Path(word) / "bed.toml") as file:
                text = file.read(LONGEST_LOOK).decode("utf-8-sig")
            return bool(re.search(r"""^\s*display\s*=\s*["']inch["']""", text, re.MULTILINE))
    return False


def _causes(error: BaseException) -> list[BaseException]:
    """What an error came from, the nearest first."""
    causes: list[BaseException] = []
    while (cause := (causes[-1] if causes else error).__cause__) is not None:
        causes.append(cause)
    return causes


def run() -> NoReturn:
    """The console script."""
    run_to_its_end(main)


if __name__ == "__main__":
    run()
