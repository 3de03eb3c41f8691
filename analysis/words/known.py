"""A figure beside its ±, a place in a table, the name of what was measured: said in one way everywhere."""

from acquire.model.units import MM_PER_INCH, THOU_PER_FOOT, UM_PER_THOU, height_text, slope_text


def height_known(um: float, expanded_um: float, inch: bool) -> str:
    """A height and its ±, both with the digits that the ± bears.

    Examples
    --------
    >>> height_known(41.3, 3.0, inch=False)
    '41 µm (1.63 thou) ± 3 µm (0.12 thou)'
    """
    return f"{height_text(um, inch, expanded_um / 2)} ± {height_bound(expanded_um, inch)}"


def height_bound(um: float, inch: bool) -> str:
    """A ± by itself, or what a height is at most, with the digits that it bears."""
    return height_text(um, inch, um / 2)


def height_seen(um: float, inch: bool) -> str:
    """The smallest difference that would have been seen, some four standard uncertainties."""
    return height_text(um, inch, um / 4)


def slope_known(um_per_m: float, expanded_um_per_m: float, inch: bool) -> str:
    """A slope or roll likewise.

    Examples
    --------
    >>> slope_known(83.33, 4.0, inch=True)
    '1.00 thou/ft (83 µm/m) ± 0.05 thou/ft (4 µm/m)'
    """
    return f"{slope_text(um_per_m, inch, expanded_um_per_m / 2)} ± {slope_bound(expanded_um_per_m, inch)}"


def slope_bound(um_per_m: float, inch: bool) -> str:
    """A ± by itself, or what a slope is at most."""
    return slope_text(um_per_m, inch, um_per_m / 2)


def slope_seen(um_per_m: float, inch: bool) -> str:
    """The smallest difference of slope or roll that would have been seen."""
    return slope_text(um_per_m, inch, um_per_m / 4)


def height_unit(inch: bool) -> tuple[str, float]:
    """The unit that the owner reads heights in, for the head of a column, and how many µm it is."""
    return ("thou", UM_PER_THOU) if inch else ("µm", 1.0)


def slope_unit(inch: bool) -> tuple[str, float]:
    """The same of slopes and rolls, in µm/m."""
    return ("thou/ft", 1 / THOU_PER_FOOT) if inch else ("µm/m", 1.0)


def station_cell(mm: float, inch: bool) -> str:
    """A place along the bed, in a column that names the unit."""
    return f"{mm / MM_PER_INCH:.2f}" if inch else f"{mm:g}"


def station_head(inch: bool) -> str:
    """The head of such a column."""
    return "station in" if inch else "station mm"


def line_name(face: str, kind: str) -> str:
    """A face by its height, or a vee or side by how it runs sideways.

    Examples
    --------
    >>> line_name("vee", "height"), line_name("vee", "side")
    ('vee', 'vee sideways')
    """
    return f"{face} sideways" if kind == "side" else face
