"""An invented bed, and setups of hand-written traverses on it."""

import pytest

from acquire.model.traverse import Setup
from tests.invented import bed_toml, dial, level

BED = bed_toml(
    1600,
    50,
    name="invented lathe bed",
    faces=("way",),
    instruments={
        "level": level(),
        "autocollimator": level(0.5, unit="arcsec", base_mm=100, gravity=False),
        "vial": level(0.1, unit="mm/m", per_division=0.02, sign=-1),
        "indicator": dial(1.5, range=[-2000, 2000]),
        "dial": dial(0.2, unit="thou", per_division=0.5),
    },
)


@pytest.fixture(scope="session")
def setup():
    def make(instrument="indicator", source="import", **changes):
        quantity = "slope" if instrument in ("level", "autocollimator", "vial") else "offset"
        changes.setdefault("face", "way")
        if quantity == "offset":
            changes.setdefault("reference", "line")
        return Setup(instrument, quantity, BED, source=source, **changes)

    return make
