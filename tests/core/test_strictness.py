"""The settings of the tests themselves: a warning of our own code fails, one of others does not."""

from __future__ import annotations

import warnings

import pytest


@pytest.mark.parametrize("module", ["cuspwise.standalone_core.check", "bl_ext.user.cuspwise.addon"])
def test_a_warning_of_our_own_code_is_an_error(module: str) -> None:
    with pytest.raises(RuntimeWarning, match="divide by zero"):
        warnings.warn_explicit("divide by zero", RuntimeWarning, "file.py", 1, module)


def test_a_warning_of_a_library_is_none() -> None:
    with warnings.catch_warnings(record=True) as caught:
        warnings.warn_explicit("an old name", DeprecationWarning, "file.py", 1, "scipy.stats")
    assert len(caught) == 1


def test_an_unknown_marker_is_refused() -> None:
    with pytest.raises(pytest.fail.Exception, match="'sloow' not found in `markers`"):
        _ = pytest.mark.sloow
