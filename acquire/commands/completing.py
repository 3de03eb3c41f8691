"""Names of faces and instruments for the shell to complete, out of the survey's bed.toml alone."""

from pathlib import Path

import click
from click.shell_completion import CompletionItem

TABLE_OF = {
    "face": "faces",
    "faces": "faces",
    "across": "faces",
    "reference": "faces",
    "other": "faces",
    "front": "faces",
    "rear": "faces",
    "instrument": "instruments",
    "names": "instruments",
    "beside": "instruments",
    "standing": "instruments",
}
"""Which table of bed.toml names what a parameter of this name takes."""


class NameInBed(click.types.StringParamType):
    """Text, of which the shell completes what bed.toml names; checked where it is used."""

    def __init__(self, table: str):
        self.table = table

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The names in the survey's table that begin so."""
        # behind an option that still lacks its value, click leaves the survey among the arguments
        surveys = [ctx.params.get("survey"), *ctx.args]
        beds = [Path(each) / "bed.toml" for each in surveys if each]
        names = next((names_in_bed(path, self.table) for path in beds if path.is_file()), ())
        return [CompletionItem(name) for name in names if name.startswith(incomplete)]


def names_in_bed(path: Path, table: str) -> tuple[str, ...]:
    """Names of the tables under `table`; none where the file cannot be read."""
    import tomllib  # every --help would wait for it

    try:
        with path.open("rb") as file:
            found = tomllib.load(file).get(table)
    except (OSError, ValueError):
        return ()
    return tuple(found) if isinstance(found, dict) else ()


def completing_names(command: click.Command) -> click.Command:
    """The same command, its arguments and options for faces and instruments completed."""
    for param in command.params:
        is_text = type(param.type) is click.types.StringParamType
        if is_text and param.name in TABLE_OF:
            param.type = NameInBed(TABLE_OF[param.name])
    return command
