"""What the analysis commands answer with: one JSON form for programs, plain words for people.

Result dataclasses carry the names that other programs rely on; `as_json` serves them
all.  Numbers go out unrounded, what is not known as null, never as NaN.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from analysis.linear.fact import Fact
from analysis.words.facts import sentence


def plain(value: Any) -> Any:
    """The same as lists, dictionaries, numbers and text; NaN and infinities become None, facts sentences.

    Examples
    --------
    >>> plain({"height_um": np.array([1.0, np.nan])})
    {'height_um': [1.0, None]}
    """
    if isinstance(value, Fact):
        return sentence(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {
            item.name: plain(getattr(value, item.name))
            for item in fields(value)
            if not item.metadata.get("kept_inside")
        }
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def as_json(result: Any) -> str:
    """One JSON object in one line.

    A field of a dataclass with ``metadata={"kept_inside": True}`` is left out.
    """
    return json.dumps(plain(result), ensure_ascii=False, allow_nan=False)
