"""What is said at the end of a run that the rest of the survey contradicts; asked by `acquire`.

The command line hands `run_doubt` to `enter`, `record` and `import`; they only know that it
gives words and, where a slip explains the run, questions with what mends it.
"""

from pathlib import Path

import numpy as np

from acquire.model.companion import Mend, RunDoubt
from acquire.model.errors import WaylogError
from acquire.model.inch_words import in_owners_unit
from analysis.adjust.run_slips import RunSlip, doubt_of_run
from analysis.answers.surveys import Survey, load
from analysis.observe import observe_all
from analysis.words.of_readings import traverses
from analysis.words.run_slips import run_slip_words


def run_doubt(survey: Path, number: int) -> RunDoubt | None:
    """What the rest of the survey contradicts in one run; None where nothing, or where it cannot tell.

    Parameters
    ----------
    survey : Path
    number : int
        Of the run just made.
    """
    try:
        loaded = load(survey)
        found = _found(loaded, number)
    except (WaylogError, np.linalg.LinAlgError):
        # the run is kept; a survey that cannot be analysed yet is told of by `map` and `combine`
        return None
    if found is None:
        return None
    says = in_owners_unit(run_slip_words(found, str(survey)), loaded.bed.is_inch)
    return RunDoubt(says, _mends(found))


def _found(loaded: Survey, number: int) -> RunSlip | None:
    runs = {run.number: run for run in loaded.measuring}
    run = runs.pop(number, None)
    if run is None or not runs:
        return None
    return doubt_of_run(run, observe_all(list(runs.values()), loaded.bed), loaded.bed)


def _mends(found: RunSlip) -> tuple[Mend, ...]:
    return tuple(
        Mend(each.traverses, each.redo_as, f"Was it so: {traverses(each.traverses)}, {each.slip}?")
        for each in found.explanations
    )
