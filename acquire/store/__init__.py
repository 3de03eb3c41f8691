"""The traverse file: how it is written, read, named and found."""

from acquire.store.survey import (
    file_name,
    files_of,
    next_number,
    number_of,
    own_folder,
    survey_bed,
    traverse_folder,
)
from acquire.store.traverse_file.reader import holds_raw, read_survey, read_traverse
from acquire.store.traverse_file.writer import write_traverse

__all__ = [
    "file_name",
    "files_of",
    "holds_raw",
    "next_number",
    "number_of",
    "own_folder",
    "read_survey",
    "read_traverse",
    "survey_bed",
    "traverse_folder",
    "write_traverse",
]
