"""The only place that imports open3d: it links desktop libraries that a bare machine lacks, and it chatters."""

from __future__ import annotations

import ctypes
import importlib
import sys
from functools import cache
from typing import Any

from clearance.errors import MissingLibraryError

DEBIAN_PACKAGES = {
    "libGL.so": "libgl1",
    "libEGL.so": "libegl1",
    "libusb-1.0.so": "libusb-1.0-0",
    "libgomp.so": "libgomp1",
    "libX11.so": "libx11-6",
}
"""Shared libraries open3d links, and the Debian packages that carry them."""


@cache
def open3d() -> Any:
    """Return the open3d module.

    Raises
    ------
    MissingLibraryError
        If open3d, or a system library it links, is not installed.
    """
    _preload_libusb()
    try:
        module = importlib.import_module("open3d")
    except ModuleNotFoundError as fault:
        raise MissingLibraryError(
            f"Python package '{fault.name}' is missing; pip install open3d-cpu or open3d"
        ) from fault
    except (ImportError, OSError) as fault:
        raise MissingLibraryError(explain(str(fault))) from fault
    module.utility.set_verbosity_level(module.utility.VerbosityLevel.Error)
    return module


def explain(fault: str) -> str:
    """Turn a loader's complaint into one line that names the package to install."""
    for library, package in DEBIAN_PACKAGES.items():
        if library in fault:
            return f"open3d needs {library} of the system; install it: apt-get install {package}"
    line = (fault.strip().splitlines() or ["unknown fault"])[0]
    return f"open3d cannot be loaded ({line}); on Debian it needs: apt-get install {' '.join(DEBIAN_PACKAGES.values())}"


def _preload_libusb() -> None:
    """Load the libusb that comes as a Python package, so that the system's is not needed."""
    if not sys.platform.startswith("linux"):
        return
    try:
        path = importlib.import_module("libusb_package").get_library_path()
        if path:
            ctypes.CDLL(str(path), mode=ctypes.RTLD_GLOBAL)
    except (ImportError, OSError):
        return  # then the system's libusb serves, or open3d says that it is missing
