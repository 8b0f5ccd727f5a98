"""The libraries that we are measured against, and what to install where they cannot be used."""

from __future__ import annotations

import importlib
import importlib.util

MODULES = {"open3d": "open3d", "libigl": "igl"}
SYSTEM = {
    "open3d": ("libusb-1.0-0", "libudev1", "libidn2-0", "libgl1", "libegl1", "libx11-6", "libgomp1")
}
"""Debian packages with the shared libraries that a peer loads and pip does not bring."""


def check() -> None:
    """Name the peers that are not installed; end where one is and cannot be loaded.

    Else it would fail in the middle of a run, after minutes.
    """
    for name, module in MODULES.items():
        if importlib.util.find_spec(module) is None:
            print(f"{name} is not installed: its rows are missing (pip install {name})")
            continue
        try:
            importlib.import_module(module)
        except (ImportError, OSError) as error:
            raise SystemExit(_remedy(name, error)) from error


def installed(name: str) -> bool:
    """Whether a peer is there; that it can be loaded was checked at the start."""
    return importlib.util.find_spec(MODULES[name]) is not None


def _remedy(name: str, error: Exception) -> str:
    text = f"{name} is installed but cannot be loaded: {error}"
    if name in SYSTEM:
        packages = " ".join(SYSTEM[name])
        text += f"\nInstall its system libraries (Debian, Ubuntu): apt-get install {packages}"
    return text
