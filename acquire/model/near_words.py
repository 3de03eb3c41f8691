"""What may have been meant by a word that is none of those known; nothing where none is like it."""

from collections.abc import Iterable

LIKE = 0.65
"""Share of letters in common from which on a word is proposed."""


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """A question that names the nearest one or two, or an empty text.

    Examples
    --------
    >>> did_you_mean("front-ve", ["front-vee", "rear-flat"]), did_you_mean("Slop", ["slope", "roll"])
    ('did you mean front-vee?', 'did you mean slope?')
    >>> did_you_mean("underside", ["front-vee", "rear-flat"])
    ''
    """
    import difflib  # imported where used: most runs have no wrong word

    known = {each.lower(): each for each in words}
    likely = difflib.get_close_matches(word.lower(), known, n=2, cutoff=LIKE)
    return f"did you mean {' or '.join(known[each] for each in likely)}?" if likely else ""
