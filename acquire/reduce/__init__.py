"""From a recording's raw bytes to its traverse: the one way, pure, used by every door.

`record` at its end, `mend`, `redo`, `enter` and `import` all derive by `derive`; a
traverse file holds what `contents_of` needs to do it again.
"""

from acquire.reduce.deriving import DERIVED_KINDS, contents_of, derive
from acquire.reduce.placed import places_in_order
from acquire.reduce.stopping import places_meant

__all__ = ["DERIVED_KINDS", "contents_of", "derive", "places_in_order", "places_meant"]
