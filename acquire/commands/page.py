"""`waylog page`: readings typed on a phone that lies on the bed, and live figures while `record` runs."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.commands.talk import PLACING_CAUTION, say_cautions, say_notes
from acquire.commands.traverse_options import asked_of, entry_options, traverse_options
from acquire.model.lengths import in_mm
from acquire.model.options import AcrossCommand
from acquire.model.saying import say

if TYPE_CHECKING:
    import socket

    from acquire.page.beginning import Wish
    from acquire.page.desk import Desk
    from acquire.page.run import Run


@click.command(name="page", cls=AcrossCommand)
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("face", required=False)
@traverse_options(needs_instrument=False)
@entry_options
@click.option("--resume/--new", "resume", default=True, help="Go on with an entry cut short, or begin anew.")
@click.option("--address", metavar="IP", help="Where to serve it; 127.0.0.1: to this machine alone.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    metavar="N",
    default=8737,
    show_default=True,
    help="0: any free one.",
)
@click.pass_context
def command(ctx: click.Context, /, survey: Path, face: str | None, **options: Any) -> int:
    """Serve a page for a phone or tablet: readings station by station, and live figures of `record`.

    With FACE and --instrument it begins with that run, as `enter` would; without them the page asks.
    The link, also as a QR code, holds a new random token: only who has it is let in. It is served in
    the local network, unencrypted, until Ctrl-C. Every reading is on disk before the page says so; one
    typed while the connection is lost waits on the phone. Needs: pip install 'waylog[page]'.
    """
    from acquire.store import survey_bed

    _need_extra()
    bed = survey_bed(survey)
    desk = _desk(ctx, survey)
    wish = _wish(options, face, bed.is_inch)
    from acquire.page.link import link_to, listening, new_token, own_address, who_can_reach

    address = options["address"] or own_address()
    with listening(address, options["port"]) as listener:
        say_cautions(PLACING_CAUTION)
        if wish is not None:
            say_notes(desk.begin(wish).notes, bed.is_inch)
        token, port = new_token(), listener.getsockname()[1]
        _invite(link_to(address, port, token), who_can_reach(address))
        _serve(desk, listener, token)
    return 0


def _need_extra() -> None:
    from importlib.util import find_spec

    from acquire.model.errors import AcquireError

    missing = [name for name in ("starlette", "uvicorn", "segno") if find_spec(name) is None]
    if missing:
        found = f"found no {' and no '.join(missing)}"
        raise AcquireError("page", found, "the extra `page`", "run pip install 'waylog[page]'")


def _desk(ctx: click.Context, survey: Path) -> "Desk":
    from acquire.page.beginning import Helpers
    from acquire.page.desk import Desk

    joined: Mapping[str, Any] = ctx.find_root().obj or {}
    helpers = Helpers(joined.get("companion"), joined.get("set_up"))
    return Desk(survey, PLACING_CAUTION, helpers, joined.get("run_doubt"))


def _wish(options: dict[str, Any], face: str | None, inch: bool) -> "Wish | None":
    """The run to begin with; None where no instrument is named: the page asks for it."""
    from acquire.page.beginning import Wish

    if options["instrument"] is None:
        if face is not None or options["across"] is not None:
            raise click.UsageError("a run to begin with needs --instrument.")
        return None
    asked = (options[name] for name in ("step", "start", "end"))
    step_mm, start_mm, end_mm = (in_mm(each, inch) for each in asked)
    kept = {name: options[name] for name in ("closing", "vial", "settle_s", "resume")}
    return Wish({**asked_of(options, face), "unit": options["unit"]}, step_mm, start_mm, end_mm, **kept)


def _invite(link: str, who: str) -> None:
    """The link and its QR code; on a terminal that is too narrow for that, the link alone."""
    import io
    import shutil
    import sys

    import segno

    code = segno.make(link, error="m", micro=False)
    if sys.stdout.isatty() and code.symbol_size()[0] <= shutil.get_terminal_size().columns:
        drawn = io.StringIO()
        code.terminal(drawn, compact=True)
        click.echo(drawn.getvalue())
    click.echo(link)
    say(f"caution: {who}.", err=True)
    say("Ctrl-C ends it.", err=True)


def _serve(desk: "Desk", listener: "socket.socket", token: str) -> None:
    from acquire.page.serving import server
    from acquire.record.recorder import ending_signals

    serving = server(desk, listener, token)

    def stop(*_: object) -> None:
        serving.should_exit = True

    with ending_signals(stop):
        try:
            serving.run(sockets=[listener])
        finally:
            left = desk.close()
            if left is not None:
                _say_left(left)


def _say_left(run: "Run") -> None:
    entry, path = run.entry, run.writer.path
    if not entry.lines:
        say("stopped: nothing was read, nothing is kept", err=True)
        return
    say(f"stopped: {entry.taken} readings kept in {path.name}, {entry.unread} to go", err=True)
    say("go on with the same command, or `waylog enter`; `waylog mend` makes a traverse of it", err=True)
