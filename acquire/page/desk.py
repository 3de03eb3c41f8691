"""What is under way on one survey while its page is served: an entry, or nothing yet; and who looks on."""

import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from acquire.model.companion import Mend, RunDoubter
from acquire.model.inch_words import in_owners_unit
from acquire.page.beginning import Begun, Helpers, Wish, begun, choices, wish_of
from acquire.page.live import Live
from acquire.page.run import Run
from acquire.page.sent import Conflict, Sent, slot_of, text_of
from acquire.page.shown import LastRun, Values, last_run, line_shown, run_shown
from acquire.record.redoing import mended
from acquire.store import survey_bed

Body = Mapping[str, Any]


class Desk:
    """All that a page can ask for; every call may come from a thread of its own.

    Parameters
    ----------
    survey : Path
    cautions : sequence of str
        Shown first.
    helpers : Helpers, optional
    run_doubt : callable, optional
    """

    def __init__(
        self,
        survey: Path,
        cautions: Sequence[str] = (),
        helpers: Helpers | None = None,
        run_doubt: RunDoubter | None = None,
    ):
        self.survey, self._cautions = survey, list(cautions)
        self._is_inch = survey_bed(survey).is_inch
        self._helpers, self._run_doubt = helpers or Helpers(), run_doubt
        self._begun: Begun | None = None
        self._last: LastRun | None = None
        self._ended: dict[str, Values] = {}
        self._stored_before: dict[str, str] = {}
        self._mends: list[Mend] = []
        self._live = Live(survey, company=self._helpers.company)
        self._lock = threading.RLock()

    @property
    def run(self) -> Run | None:
        """The entry under way."""
        return None if self._begun is None else self._begun.run

    def begin(self, wish: Wish) -> Begun:
        """Begin a run; one that is under way is left first, to be gone on with later."""
        with self._lock:
            self.close()
            self._begun = begun(self.survey, wish, self._helpers)
            self._last = last_run(self.survey, self._begun.run.writer.setup)
            return self._begun

    def close(self) -> Run | None:
        """Leave what is under way as it is; gives it back for its last words."""
        with self._lock:
            left, self._begun = self._begun, None
            if left is None:
                return None
            left.run.close()
            return left.run

    def state(self) -> Values:
        """What is under way."""
        with self._lock:
            bed = survey_bed(self.survey)
            ended = next(reversed(self._ended.values()), None)
            shown = {"bed": bed.name, "cautions": self._cautions, "run": None, "notes": [], "ended": ended}
            if self._begun is None:
                return {**shown, "choices": choices(bed)}
            notes = [self.in_its_unit(note) for note in self._begun.notes]
            return {**shown, "notes": notes, "run": run_shown(self._begun.run, self._last)}

    def in_its_unit(self, words: str) -> str:
        """What is said, in inches and thou where the survey is."""
        return in_owners_unit(words, self._is_inch)

    def live(self) -> Values:
        """The recording under way, if there is one."""
        return self._live.now()

    def reading(self, body: Body) -> Values:
        """Keep one reading."""
        with self._lock:
            sent = Sent.of(body)
            if sent.sent_as in self._stored_before:  # of a run that has ended since
                return {"sent_as": sent.sent_as, "shown": self._stored_before[sent.sent_as], "doubt": None}
            run = self._under_way()
            line, doubt = run.take(sent)
            return {
                "sent_as": sent.sent_as,
                "words": line.words,
                "shown": line_shown(run, line),
                "doubt": doubt,
            }

    def keep(self, body: Body) -> Values:
        """A reading in doubt is kept as it is."""
        with self._lock:
            self._under_way().keep(text_of(body, "run", 64), slot_of(body))
            return {}

    def begin_asked(self, body: Body) -> Values:
        """Begin what a page asks for; while a run is under way nothing is begun."""
        with self._lock:
            if self.run is not None:
                raise Conflict(f"found run {self.run.name} under way", "to finish or leave it first")
            self.begin(wish_of(body, survey_bed(self.survey)))
            return {}

    def leave(self, body: Body) -> Values:
        """Stop here, to go on later."""
        with self._lock:
            self._under_way().check(text_of(body, "run", 64))
            self.close()
            return {}

    def finish(self, body: Body) -> Values:
        """The run becomes a traverse; said again to whoever asks twice."""
        with self._lock:
            name = text_of(body, "run", 64)
            if name in self._ended:
                return self._ended[name]
            run = self._under_way()
            path, lines = run.finish(name)
            self._begun = None
            self._stored_before |= {
                line.sent_as: line_shown(run, line) for line in run.entry.lines if line.sent_as
            }
            doubt = None if self._run_doubt is None else self._run_doubt(self.survey, run.writer.setup.number)
            self._mends = [] if doubt is None else list(doubt.mends)
            self._ended[name] = {
                "name": name,
                "number": run.writer.setup.number,
                "file": path.name,
                "lines": [*lines, *([] if doubt is None else [f"? {doubt.says}."])],
                "questions": [mend.question for mend in self._mends],
            }
            return self._ended[name]

    def mend(self, body: Body) -> Values:
        """A person says how the run that has just ended was written down; nothing is mended unasked."""
        with self._lock:
            question = text_of(body, "question", 1000)
            ended = next(reversed(self._ended.values()), None)
            mend = next((each for each in self._mends if each.question == question), None)
            if ended is None or mend is None:
                raise Conflict("found no such question", "one that was asked at the end of the run")
            ended["lines"].append(mended(self.survey, mend))
            self._mends, ended["questions"] = [], []
            return ended

    def _under_way(self) -> Run:
        if self.run is None:
            raise Conflict("found no run under way", "one", None)
        return self.run
