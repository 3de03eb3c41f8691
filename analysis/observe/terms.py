"""What any instrument's readings come to: linear forms of heights, with their errors.

Every reading says: a weighted sum of heights at certain places, plus a zero and
whatever else the set-up leaves unknown, plus an error of known size.  `Place` names a
height, a `Form` is a weighted sum of them, `Nuisance` an unknown that is none of the
bed's, and `Observations` all that one traverse says.  Heights are in µm; weights carry
the unit of the reading.  A height between nodes is read off the cubic through the four around it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import sparse

from acquire.model.places import ROUNDING_MM
from acquire.model.quantity import LARGEST_LENGTH, QUANTITIES, SLOPE, Quantity
from acquire.model.traverse import Traverse
from analysis.linear.fact import Fact
from analysis.observe.over_joints import CrossedJoint

if TYPE_CHECKING:
    from analysis.level.continuous import ContinuousHeights


class Place(NamedTuple):
    """One height that a reading depends on."""

    kind: str
    """height: of a face along its outward normal | side: of a vee towards the rear | edge: of a
    straightedge as it lies when not turned over."""
    owner: str
    """Id of the face or straightedge."""
    station_mm: float
    role: str
    """foot: of a level stepped along | touched: by a plunger or a roller | carried: under a carrier."""


Form = Mapping[Place, float]
LineCounts = tuple[int, int]
"""A weighted sum of heights."""


def weighted_sum(parts: Iterable[tuple[float, Form]]) -> dict[Place, float]:
    """Add forms, each times its factor; places that cancel are left out.

    Examples
    --------
    >>> here = Place("height", "flat", 100.0, "touched")
    >>> weighted_sum([(2.0, {here: 1.0}), (-1.0, {here: 0.5})])[here]
    1.5
    """
    total: dict[Place, float] = {}
    for factor, form in parts:
        for place, weight in form.items():
            total[place] = total.get(place, 0.0) + factor * weight
    return {place: weight for place, weight in total.items() if weight != 0.0}


@dataclass(frozen=True)
class Unknown:
    """Names an unknown that is none of the bed's heights; equal ones are one unknown.

    Examples
    --------
    >>> Unknown("scale", ("level",)) == Unknown("scale", ("level",))
    True
    """

    kind: str
    """zero: of an instrument as it was set up | lie: tilt of an edge, wire or line as it was set up |
    height: of a block of drawn levels | drift: rate of a zero | scale: relative error of an
    instrument | sag: relative error of a straightedge's own sag | warmth: how much warmer one side of a
    straightedge was than the other, °C | bow between runs: of the bed, there
    and back | bend under carrier: of a way of unknown shape, the carrier taken as a point | bend at foot: of
    a way at a node that feet stood beside."""
    of: tuple[str, ...]
    """What it belongs to: number of a traverse, name of an instrument or straightedge, group of drift."""


@dataclass(frozen=True, eq=False)
class Nuisance:
    """What one unknown besides the heights adds to the readings of a traverse."""

    key: Unknown
    column: np.ndarray
    """Shape (m,): what one unit of it adds to each reading."""
    prior_sd: float | None = None
    """Its standard uncertainty where one is stated; None leaves it free."""

    def of_size(self, share: float) -> "Nuisance":
        """The same with a share of its stated size."""
        return self if self.prior_sd is None else replace(self, prior_sd=share * self.prior_sd)


@dataclass(frozen=True)
class ZeroDrift:
    """By how much the zero of a block of drawn levels changes as time goes on."""

    run: int
    """Number of the traverse whose zero it is."""
    at: float
    """When in that run the zero is what the block says, in the unit of its `order`."""
    rate: float
    """µm/m over one unit of `order`, as read."""
    standard_uncertainty: float


HEIGHTS = Quantity("heights", SLOPE.read_with, {"um": 1.0}, -LARGEST_LENGTH, LARGEST_LENGTH)
"""What a block of drawn levels gives; no instrument reads it."""


@dataclass(frozen=True, eq=False)
class DrawnBlock:
    """How a block of drawn levels was solved."""

    heights: "ContinuousHeights"
    """The estimate behind it."""
    traverses: tuple[Traverse, ...]
    """What it was made of, so that further drawn runs of the face can be joined to it."""
    anchored: bool
    """Whether other readings tied it."""
    zero_of: int | None
    """Whose zero stayed an unknown."""
    crossed: tuple[CrossedJoint, ...] = ()
    """Joints of the bed that its runs crossed, with the steps that they show."""


@dataclass(frozen=True, eq=False)
class Observations:
    """What one traverse says about the heights: m readings as linear forms."""

    traverse: int
    instrument: str
    quantity: str
    mode: str
    subject: str
    """What it was measured on, for words."""
    faces: tuple[str, ...]
    """The faces that it says something about."""
    station_mm: np.ndarray
    reading: np.ndarray
    """As measured, contract unit."""
    correction: np.ndarray
    """Known part of the reading, the sag of an edge or wire; what is left is linear in the unknowns."""
    forms: tuple[Form, ...]
    covariance: np.ndarray | sparse.spmatrix
    """Shape (m,) where the readings are independent, else (m, m): sparse where repeats at a station
    have something in common, full where all readings do."""
    nuisances: tuple[Nuisance, ...]
    step_variance: float = 0.0
    """What steps of the display alone make each reading's variance; equal readings share it."""
    plain_forms: tuple[Form, ...] | None = None
    """The forms with the carrier as a point, for references whose own shape nothing tells."""
    carriers: tuple[str, ...] = ()
    """Faces that carry what is read with."""
    zero: int | None = None
    """Number of the traverse whose zero it shares (its own where it shares none); None: it has none."""
    zero_instrument: str = ""
    """A zero is shared only between traverses of one instrument."""
    zero_column: np.ndarray | None = None
    """Shape (m,): what one unit of the zero adds to each reading; None: one."""
    line_counts: LineCounts | None = None
    """Where an edge, wire or optical line was read, height and tilt free as it was set up: by how much its
    place counts in each reading, to the rear and upwards."""
    direction: str = "forward"
    order: np.ndarray = field(default_factory=lambda: np.zeros(0))
    """When each reading was taken, for drift: s from the recording's start, or its place in the order."""
    is_timed: bool = False
    """Whether `order` is a time."""
    drift_group: tuple[str, ...] = ()
    """Traverses of equal group drift at one rate."""
    turned: bool = False
    bow: Nuisance | None = None
    """What a drift does to a block of heights whose runs all went one way."""
    with_traverses: tuple[int, ...] = ()
    """Numbers of further traverses in the same block."""
    drawn: DrawnBlock | None = None
    """What stands behind a block of drawn levels, whose readings are heights in µm."""
    zero_drift: ZeroDrift | None = None
    """Of a block whose runs there and back tell how its level drifted."""
    drawn_runs: tuple["Observations", ...] = ()
    """Of a block: each of its runs by itself, its drift left in, for what differs between them."""
    edges: tuple[tuple[str, bool], ...] = ()
    """Straightedges used, and whether turned over."""
    source: Traverse | None = None
    """The traverse that it was made of; None of a block (`drawn`)."""
    created_utc: str = ""
    warnings: tuple[Fact, ...] = ()

    def __len__(self) -> int:
        return len(self.reading)

    @property
    def sources(self) -> tuple[Traverse, ...]:
        """The traverses that it was made of, with their own descriptions of the instrument."""
        return self.drawn_traverses if self.source is None else (self.source,)

    @property
    def drawn_traverses(self) -> tuple[Traverse, ...]:
        """What a block was made of; empty of all else."""
        return () if self.drawn is None else self.drawn.traverses

    @property
    def is_stepped_level(self) -> bool:
        """Whether it is a level stepped along a face, whose feet are nodes."""
        return self.measures.has_feet_along and self.mode == "stepped"

    @property
    def measures(self) -> Quantity:
        """What it reads: the row of its quantity."""
        return QUANTITIES.get(self.quantity, HEIGHTS)

    def noisier(self, variance_factor: float) -> "Observations":
        """The same with every variance multiplied."""
        return self if variance_factor == 1.0 else replace(self, covariance=variance_factor * self.covariance)

    def less_sure(self, error: np.ndarray) -> "Observations":
        """The same with a further independent error of each reading, standard deviations of shape (m,)."""
        if isinstance(self.covariance, np.ndarray):
            diagonal = error**2 if self.covariance.ndim == 1 else np.diag(error**2)
            return replace(self, covariance=self.covariance + diagonal)
        return replace(self, covariance=self.covariance + sparse.diags(error**2))

    @property
    def noise_group(self) -> str:
        """Readings of equal group are noisy alike: an instrument's, and apart from them its drawn runs."""
        return f"{self.instrument} (drawn)" if self.drawn is not None else self.instrument

    @property
    def variance(self) -> np.ndarray:
        """Variance of each reading by itself."""
        if isinstance(self.covariance, np.ndarray) and self.covariance.ndim == 1:
            return self.covariance
        return np.array(self.covariance.diagonal())


def _around(mm: np.ndarray, at_mm: float) -> np.ndarray:
    """Indices of the four places around one, or of the two nearest where it lies outside."""
    right = int(np.searchsorted(mm, at_mm))
    if right == 0 or right == len(mm):
        return np.array([0, 1]) if right == 0 else np.array([len(mm) - 2, len(mm) - 1])
    start = min(max(right - 2, 0), max(len(mm) - 4, 0))
    return np.arange(start, min(start + 4, len(mm)))


def lagrange(node_mm: np.ndarray, at_mm: np.ndarray | float) -> np.ndarray:
    """Weights of nodes in the polynomial through all of them, at places of any shape; a last axis of nodes.

    Examples
    --------
    >>> lagrange(np.array([0.0, 100.0]), np.array([25.0, 50.0]))
    array([[0.75, 0.25],
           [0.5 , 0.5 ]])
    """
    itself = np.eye(len(node_mm), dtype=bool)
    apart = np.where(itself, 1.0, node_mm[:, None] - node_mm)
    away = np.asarray(at_mm)[..., None, None] - node_mm
    return np.prod(np.where(itself, 1.0, away / apart), axis=-1)


def interpolation_rows(node_mm: np.ndarray, at_mm: np.ndarray) -> np.ndarray:
    """Weights of nodes for the heights at places: the node itself, a cubic, or a straight line outside.

    Parameters
    ----------
    node_mm : array, shape (n,)
        Rising.
    at_mm : array, shape (k,)

    Returns
    -------
    array, shape (k, n)

    Examples
    --------
    >>> interpolation_rows(np.array([0.0, 100.0, 200.0, 300.0]), np.array([150.0, 200.2]))
    array([[-0.0625,  0.5625,  0.5625, -0.0625],
           [ 0.    ,  0.    ,  1.    ,  0.    ]])
    """
    rows = np.zeros((len(at_mm), len(node_mm)))
    right = np.searchsorted(node_mm, at_mm)
    nearest = np.argmin(np.abs(node_mm[None, :] - at_mm[:, None]), axis=1)
    near = (np.abs(node_mm[nearest] - at_mm) <= ROUNDING_MM) | (len(node_mm) == 1)
    rows[np.flatnonzero(near), nearest[near]] = 1.0
    for gap in np.unique(right[~near]):
        here = np.flatnonzero(~near & (right == gap))
        around = _around(node_mm, float(at_mm[here[0]]))
        rows[np.ix_(here, around)] = lagrange(node_mm[around], at_mm[here])
    return rows
