"""The door for Python: ``import waylog`` gives surveys, maps, answers and their pictures.

    survey = waylog.load("my-survey")
    shape = waylog.map_face(survey.map(), "front-vee")

The names are those of `analysis`, which says what each gives; nothing is imported before it is
asked for.  A file of the person's own called ``analysis.py`` or ``acquire.py`` beside a notebook
comes before our houses of that name: then the import says so, and the file is not run.
"""

import sys
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis import *  # noqa: F403

__version__ = "0.1.0"

HOUSES = ("acquire", "analysis")


def _root() -> Path:
    """The folder that holds both houses: beside this package where it is installed, else the clone."""
    here = Path(__file__).resolve().parent
    return next(folder for folder in here.parents if all((folder / house).is_dir() for house in HOUSES))


def _refuse_others() -> None:
    """Refuse foreign modules that would be taken for ours; they are found, not run."""
    for house in HOUSES:
        found = _file_of(house)
        if found is None or found.resolve().parent != _root() / house:
            raise ImportError(
                f"{found or house}: is no part of waylog, but would be taken for its own {house}; "
                "needed: no other module of that name. Rename it, or start Python in another folder.",
                name=house,
                path=str(found),
            )


def _file_of(house: str) -> Path | None:
    loaded = sys.modules.get(house)
    if loaded is not None:
        file = getattr(loaded, "__file__", None)
        return None if file is None else Path(file)
    spec = find_spec(house)
    return None if spec is None or spec.origin is None else Path(spec.origin)


_refuse_others()


def __getattr__(name: str) -> Any:
    """Fetch a public name from `analysis`."""
    door = import_module("analysis")
    if name == "__all__":
        return [*door.__all__, "__version__"]
    if name not in door.__all__:
        raise AttributeError(f"module 'waylog' has no attribute {name!r}")
    return getattr(door, name)


def __dir__() -> list[str]:
    return sorted({*globals(), *import_module("analysis").__all__})


def run() -> None:
    """The console script."""
    import_module("acquire.cli").run()
