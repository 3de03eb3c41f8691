"""The traverse file: what one holds, how it is written, read, named and found."""

from acquire.traverse_file.reader import read_stream, read_survey, read_traverse
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
from acquire.traverse_file.writer import write_traverse

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
    "read_stream",
    "read_survey",
    "read_traverse",
    "survey_bed",
    "traverse_folder",
    "write_traverse",
]
