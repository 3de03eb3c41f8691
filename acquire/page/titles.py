"""What a run is called on a page."""

from acquire.model.reference import CARRIAGE
from acquire.model.traverse import Setup


def title_words(setup: Setup) -> str:
    """What is measured with what, and how it stands.

    Examples
    --------
    >>> title_words(Setup("dial", "offset", "", face="rear-flat", reference="front-vee"))
    'rear-flat along front-vee by dial, forward'
    """
    other = f" {'inside ' if setup.inside else ''}to {setup.other}" if setup.other else ""
    along = f" along {setup.reference}" if setup.reference and setup.face else ""
    along += " across the carriage" if setup.reference == CARRIAGE and not setup.face else ""
    turned = ", turned end for end" if setup.turned else ""
    turned += ", edge turned over" if setup.turned_over else ""
    return f"{setup.subject}{other}{along} by {setup.instrument}, {setup.direction}{turned}"
