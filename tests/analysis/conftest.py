"""Shared by the tests of the analysis: the published cases, kept whole with their sources."""

import tomllib
from pathlib import Path

import pytest


@pytest.fixture
def reference_case():
    """Load a case of tests/references by the name of its file."""
    folder = Path(__file__).parent.parent / "references"

    def load(name: str) -> dict:
        text = (folder / f"{name}.toml").read_text(encoding="utf-8")
        assert "# Source:" in text and "# Standing:" in text
        return tomllib.loads(text)

    return load
