"""One small report and one browser for all tests of the pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser import SOFTWARE_GL, Browser, Page
from page_scene import Report, written_report


@pytest.fixture(scope="session")
def report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    return written_report(tmp_path_factory.mktemp("report"))


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("profile"), *SOFTWARE_GL) as opened:
        yield opened


@pytest.fixture(scope="session")
def opened(browser: Browser) -> Callable[..., Page]:
    """Open a page with a 3D view and wait until it is ready."""

    def open_it(file: Path, **size: object) -> Page:
        page = browser.page(file, **size)
        page.until("document.getElementById('view').dataset.ready")
        page.settled()
        return page

    return open_it


@pytest.fixture(scope="session")
def axe(real_data: Path) -> Path:
    """axe-core, fetched with the open data."""
    return real_data / "axe" / "axe.min.js"
