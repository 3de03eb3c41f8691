"""Frozen dataclasses whose methods are shared, where the standard library compiles five for each class.

A command loads some 150 of them, and compiling their methods took as long as half of importing numpy
and h5py.  Fields, defaults, `fields` and `replace` are the library's; what a class has besides closes over
the names of its fields.  Where a value is made for each line that an instrument sends, use the library's:
making one takes twice as long here.
"""

import dataclasses
from collections.abc import Callable, Mapping, Sequence, Set
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NoReturn

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(*, frozen: bool, eq: bool = True, repr: bool = True) -> Callable[[type], type]:
        """As ``dataclasses.dataclass(frozen=True)``; a class that is not frozen takes the library's.

        Examples
        --------
        >>> @dataclass(frozen=True)
        ... class Step:
        ...     base_mm: float
        ...     slope_um_per_m: float = 0.0
        >>> Step(200.0), Step(200.0) == Step(200.0, slope_um_per_m=0.0)
        (Step(base_mm=200.0, slope_um_per_m=0.0), True)
        """
        if not frozen:
            raise TypeError("a class that is not frozen is made by dataclasses.dataclass")

        def made(cls: type) -> type:
            cls = dataclasses.dataclass(init=False, repr=False, eq=False)(cls)
            methods = {"__init__": _init(cls), "__setattr__": _refused_set, "__delattr__": _refused_delete}
            if repr:
                methods["__repr__"] = _repr
            if eq:
                methods |= _comparing(cls)
            for name, method in methods.items():
                if name not in vars(cls):
                    setattr(cls, name, method)
            return cls

        return made


def _init(cls: type) -> Callable[..., None]:
    fields = dataclasses.fields(cls)
    names = tuple(each.name for each in fields)
    plain = {each.name: each.default for each in fields if each.default is not dataclasses.MISSING}
    made = {
        each.name: each.default_factory for each in fields if each.default_factory is not dataclasses.MISSING
    }
    known, is_followed = frozenset(names), hasattr(cls, "__post_init__")

    def __init__(self: Any, /, *positional: Any, **named: Any) -> None:  # noqa: N807
        own = vars(self)
        own.update(plain)
        own.update(zip(names, positional))  # noqa: B905 - how many there are is seen below
        own.update(named)
        for name, factory in made.items():
            if name not in own:
                own[name] = factory()
        placed = len(positional)
        if own.keys() != known or placed > len(names) or named.keys() & names[:placed]:
            raise TypeError(f"{cls.__qualname__}: {_mistake(names, own.keys(), positional, named)}")
        if is_followed:
            self.__post_init__()

    return __init__


def _mistake(names: Sequence[str], own: Set[str], positional: Sequence[Any], named: Mapping[str, Any]) -> str:
    """What is wrong with the values that a class was given."""
    if len(positional) > len(names):
        return f"found {len(positional)} values, needed at most {len(names)}"
    faults = {
        "given twice": [name for name in names[: len(positional)] if name in named],
        "no field of it": [name for name in named if name not in names],
        "missing": [name for name in names if name not in own],
    }
    return "; ".join(f"{what}: {', '.join(which)}" for what, which in faults.items() if which)


def _comparing(cls: type) -> dict[str, Any]:
    """Equality and hash by the fields that take part in comparisons."""
    names = [each.name for each in dataclasses.fields(cls) if each.compare]
    # of one name alone attrgetter gives no tuple, and arrays are equal to themselves only within one
    values: Callable[[Any], Any] = attrgetter(*names, names[0]) if names else lambda _: ()

    def __eq__(self: Any, other: object) -> bool:  # noqa: N807
        return values(self) == values(other) if type(other) is type(self) else NotImplemented

    def __hash__(self: Any) -> int:  # noqa: N807
        return hash(values(self))

    return {"__eq__": __eq__, "__hash__": __hash__}


def _repr(self: Any) -> str:
    shown = (f"{each.name}={getattr(self, each.name)!r}" for each in dataclasses.fields(self) if each.repr)
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _refused_set(self: Any, name: str, value: Any) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refused_delete(self: Any, name: str) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
