"""From a recording's raw bytes to its traverse: the one way, pure, used by every door.

`record` at its end, `mend`, `redo`, `enter` and `import` all derive by `derive`; a
traverse file holds what `contents_of` needs to do it again.
"""

from acquire.derivation.deriving import DERIVED_KINDS, contents_of, derive
from acquire.derivation.placed import is_on_bed, places_in_order
from acquire.derivation.stopping import places_meant

__all__ = ["DERIVED_KINDS", "contents_of", "derive", "is_on_bed", "places_in_order", "places_meant"]
