"""What must be said beside a result: here it is a fact, in the room of words it becomes a sentence."""


class Fact:
    """Base of the small frozen dataclasses in `warnings` and `cannot_tell` of results.

    A fact holds names and numbers alone, so that equal ones are one; `words.facts.sentence`
    says it to terminal, window, report and `--json` alike.
    """
