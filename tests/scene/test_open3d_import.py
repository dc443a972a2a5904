"""One line that names the package to install; nothing printed."""

from __future__ import annotations

import subprocess
import sys

import pytest

from clearance.errors import MissingLibraryError
from clearance.scene import open3d_import
from clearance.scene.open3d_import import explain, open3d


@pytest.mark.parametrize(
    ("library", "package"),
    [
        ("libGL.so.1", "libgl1"),
        ("libEGL.so.1", "libegl1"),
        ("libusb-1.0.so.0", "libusb-1.0-0"),
        ("libgomp.so.1", "libgomp1"),
        ("libX11.so.6", "libx11-6"),
    ],
)
def test_names_the_debian_package(monkeypatch: pytest.MonkeyPatch, library: str, package: str) -> None:
    real = open3d_import.importlib.import_module

    def fail(name: str) -> object:
        if name == "open3d":
            raise OSError(f"{library}: cannot open shared object file: No such file or directory")
        return real(name)

    monkeypatch.setattr(open3d_import.importlib, "import_module", fail)
    open3d.cache_clear()
    with pytest.raises(MissingLibraryError) as caught:
        open3d()
    assert str(caught.value).endswith(f"apt-get install {package}")
    assert "\n" not in str(caught.value)


def test_unknown_fault_names_them_all() -> None:
    message = explain("undefined symbol: what\nand more")
    assert "\n" not in message
    assert all(package in message for package in open3d_import.DEBIAN_PACKAGES.values())


def test_imports_without_a_word() -> None:
    code = "from clearance.scene.open3d_import import open3d; open3d().geometry.PointCloud()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == ""
    assert done.stderr == ""


def test_importing_this_room_does_not_import_open3d() -> None:
    code = "import sys, clearance.scene.scan_io, clearance.scene.look; print('open3d' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
