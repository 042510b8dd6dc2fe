"""What tests share: one kind of hypothesis run, a job planned from small tables, one browser and a phone."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from sheets import ON, write_job

from batchdose import Result, Settings, plan_job

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

#: Width and height of a small phone.
PHONE = {"width": 360, "height": 740}

settings.register_profile("batchdose", max_examples=60, deadline=None, derandomize=True, database=None)
settings.load_profile("batchdose")


@pytest.fixture
def job(tmp_path: Path) -> Callable[..., Result]:
    """Plan a job: the animals as a table, medicines as changes to a sound one, further sheets by name."""

    def plan(
        animals: object, *medicines: Mapping[str, object], on: str = ON, give: Iterable[str] = (),
        species: str = "", **sheets: object,
    ) -> Result:  # fmt: skip
        weighing, labels = write_job(tmp_path, animals, *medicines, **sheets)
        return plan_job(weighing, labels, Settings(on=on, give=tuple(give), species=species))

    return plan


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium as the system has it, without a screen."""
    found = shutil.which("chromium") or shutil.which("google-chrome") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no Chromium is installed (Debian: apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """A phone without network, whose page must do without an error."""
    context = browser.new_context(viewport=PHONE, offline=True, timezone_id="UTC")
    context.set_default_timeout(20_000)
    errors: list[str] = []
    context.on("weberror", lambda error: errors.append(str(error.error)))
    yield context
    context.close()
    assert errors == []


@pytest.fixture
def opened(phone: BrowserContext, tmp_path: Path) -> Callable[..., Page]:
    """Open the HTML of a job sheet on the phone as a file, with a script that runs before those of the page."""

    def page_of(html: str, address: str = "", before: str = "") -> Page:
        path = tmp_path / "sheet.html"
        path.write_text(html, encoding="utf-8")
        page = phone.new_page()
        page.clock.install()
        if before:
            page.add_init_script(before)
        page.goto(path.as_uri() + address)
        return page

    return page_of
