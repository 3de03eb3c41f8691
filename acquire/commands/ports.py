"""`waylog ports`: what is plugged in, by every name it has, and what a survey expects where."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.saying import say

if TYPE_CHECKING:
    from acquire.model.bed import Bed
    from acquire.receive.ports.naming import Found


@click.command(name="ports")
@click.argument("survey", required=False, type=click.Path(path_type=Path, exists=True, file_okay=False))
def command(survey: Path | None) -> None:
    """List this computer's serial ports; with SURVEY, also where its instruments are expected.

    Wire nothing into the machine's emergency stop or its control.
    """
    from acquire.model.bed_toml.reading import read_bed
    from acquire.receive.ports.naming import found_ports

    ports = found_ports()
    for line in _here(ports):
        say(line)
    if survey is not None:
        click.echo("")
        for line in _expected(read_bed(survey / "bed.toml"), ports):
            say(line)


def _here(ports: "list[Found]") -> list[str]:
    from acquire.bench.identify import stable_name

    if not ports:
        return ["No serial port is here. Plug the adapter in; a data cable is needed, not one for charging."]
    lines = []
    for port in ports:
        lines.append(port.device + (f"  {port.words}" if port.words else ""))
        lines.append(f"    in bed.toml: url = '{stable_name(port, ports)}'")
        others = [name for name in (port.usb_name, *port.links) if name and name != stable_name(port, ports)]
        lines += [f"    also: {name}" for name in others]
        if port.is_cdc:
            lines.append("    its own adapter: the speed in baud means nothing to it")
        if port.usb_name and not port.serial:
            lines.append(
                "    no serial number: the by-path name belongs to the socket, so keep it in that socket"
            )
    return lines


def _expected(bed: "Bed", ports: "list[Found]") -> list[str]:
    from acquire.model.errors import PortError
    from acquire.receive.ports.naming import resolve

    lines = []
    for instrument in bed.instruments.values():
        if instrument.port is None:
            lines.append(f"{instrument.name}: no port; its readings are typed (`waylog enter`) or imported")
            continue
        url = instrument.port.url
        try:
            device = resolve(url, ports)
            lines.append(f"{instrument.name}: {url}" + (f" is {device}" if device != url else ""))
        except PortError as error:
            lines.append(f"{instrument.name}: {error}")
    return lines or ["bed.toml describes no instrument."]
