"""An invented bed, and setups of hand-written traverses on it."""

import pytest

from acquire.model.traverse import Setup

BED = """
[bed]
name = "invented lathe bed"
length_mm = 1600
station_pitch_mm = 50
[faces.way]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 1
[instruments.autocollimator]
quantity = "slope"
unit = "arcsec"
base_mm = 100
gravity = false
standard_uncertainty = 0.5
[instruments.vial]
quantity = "slope"
unit = "mm/m"
per_division = 0.02
base_mm = 200
standard_uncertainty = 0.1
sign = -1
[instruments.indicator]
quantity = "offset"
unit = "um"
standard_uncertainty = 1.5
range = [-2000, 2000]
[instruments.dial]
quantity = "offset"
unit = "thou"
per_division = 0.5
standard_uncertainty = 0.2
"""


@pytest.fixture(scope="session")
def setup():
    def make(instrument="indicator", source="import", **changes):
        quantity = "slope" if instrument in ("level", "autocollimator", "vial") else "offset"
        changes.setdefault("face", "way")
        if quantity == "offset":
            changes.setdefault("reference", "line")
        return Setup(instrument, quantity, BED, source=source, **changes)

    return make
