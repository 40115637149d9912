"""The person's rows win over the package's, and any change of a figure changes the version."""

from __future__ import annotations

import pytest

from saltfare.core.errors import NotFound
from saltfare.core.library import Library
from saltfare.core.tables import Row


def test_own_rows_are_laid_over_the_package() -> None:
    theirs = Library().row("cuts", "pork_loin")
    mine = Row(theirs.ref, {**theirs.cells, "label": "my loin"}, theirs.printed)
    library = Library({"cuts": {"pork_loin": mine}})
    assert library.row("cuts", "pork_loin").text("label") == "my loin"
    assert len(tuple(library.rows("cuts"))) == len(tuple(Library().rows("cuts")))
    assert library.row("cuts", "beef_top_round") == Library().row("cuts", "beef_top_round")


def test_the_version_follows_the_figures() -> None:
    theirs = Library().row("cuts", "pork_loin")
    changed = Row(theirs.ref, theirs.cells, {**theirs.printed, "water_pct": "71"})
    assert Library().version == Library().version
    assert Library({"cuts": {"pork_loin": changed}}).version != Library().version


def test_what_is_not_there_is_not_found() -> None:
    with pytest.raises(NotFound):
        Library().row("cuts", "unicorn")
    with pytest.raises(NotFound):
        Library().rows("no_such_table")
