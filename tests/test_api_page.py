"""The page on the programming interface runs, in a copy of the examples, and names every public name."""

from __future__ import annotations

import doctest
import inspect
import re
import shutil
from pathlib import Path

import pytest

import batchdose

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "api.md"
PUBLIC = [name for name in batchdose.__all__ if name != "__version__"]


def test_the_page_runs(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "example_sheets", tmp_path / "sheets")
    monkeypatch.chdir(tmp_path / "sheets")
    blocks = "\n".join(re.findall(r"^```pycon\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL))
    report: list[str] = []
    test = doctest.DocTestParser().get_doctest(blocks, {}, "api.md", str(PAGE), 0)
    ran = doctest.DocTestRunner().run(test, out=report.append)
    assert ran.failed == 0, "".join(report)
    assert ran.attempted > 20


@pytest.mark.parametrize("name", PUBLIC)
def test_every_public_name_is_documented_and_on_the_page(name):
    thing = getattr(batchdose, name)
    assert (inspect.getdoc(thing) or "").strip()
    assert f"| `{name}` |" in PAGE.read_text(encoding="utf-8")
    if inspect.isfunction(thing):
        signature = inspect.signature(thing)
        assert signature.return_annotation is not inspect.Signature.empty
        assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())
