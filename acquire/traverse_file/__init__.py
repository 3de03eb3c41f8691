"""The traverse file: what one holds, how it is written, read, named and found."""

from acquire.traverse_file.schema import (
    FLAGS,
    FORMAT,
    FORMAT_VERSION,
    HAND_PORT,
    Events,
    Setup,
    Stations,
    Stream,
    Traverse,
)
from acquire.traverse_file.survey import (
    file_name,
    files_of,
    next_number,
    number_of,
    survey_bed,
    traverse_folder,
)

__all__ = [
    "FLAGS",
    "FORMAT",
    "FORMAT_VERSION",
    "HAND_PORT",
    "Events",
    "Setup",
    "Stations",
    "Stream",
    "Traverse",
    "file_name",
    "files_of",
    "next_number",
    "number_of",
    "survey_bed",
    "traverse_folder",
]
