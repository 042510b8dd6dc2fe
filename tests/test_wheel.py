"""The built wheel: complete, and working where nothing of the source tree can be seen."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parent.parent
FONTS = (
    "job-sheet-400.ttf", "job-sheet-400.woff2", "job-sheet-700.ttf", "job-sheet-700.woff2", "widths.json", "fonts.conf",
    "OFL.txt",
)  # fmt: skip
EXAMPLE = SOURCE / "example_sheets" / "dairy_goats"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel of the source tree."""
    folder = tmp_path_factory.mktemp("wheel")
    run([sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, SOURCE], folder)
    [built] = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """Folder of the programs of a fresh environment with the wheel, and with the dependencies of this one."""
    environment = tmp_path_factory.mktemp("installed")
    run([sys.executable, "-m", "venv", environment], environment)
    programs = environment / ("Scripts" if os.name == "nt" else "bin")
    run([programs / "python", "-m", "pip", "install", "--no-index", "--no-deps", wheel], environment)
    own = run([programs / "python", "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], environment)
    dependencies = dict.fromkeys(sysconfig.get_path(place) for place in ("purelib", "platlib"))
    Path(own.strip(), "dependencies.pth").write_text("\n".join(dependencies), encoding="utf-8")
    return programs


def run(command: list[str | Path], folder: Path, status: int = 0) -> str:
    """Run a command in a folder from which the source tree cannot be seen, and give back what it printed."""
    hidden = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    done = subprocess.run(
        command, cwd=folder, env=hidden, capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == status, f"{done.stdout}\n{done.stderr}"
    return done.stdout


def test_everything_the_program_needs_is_inside(wheel):
    with zipfile.ZipFile(wheel) as package:
        inside = {name: package.read(name) for name in package.namelist()}
    needed = (
        {
            "batchdose/templates/job_sheet.html": SOURCE / "templates" / "job_sheet.html",
            "batchdose/templates/job_sheet.css": SOURCE / "templates" / "job_sheet.css",
        }
        | {f"batchdose/templates/fonts/{name}": SOURCE / "templates" / "fonts" / name for name in FONTS}
        | {path.relative_to(SOURCE).as_posix(): path for path in (SOURCE / "batchdose").rglob("*") if _of_package(path)}
    )
    assert {name for name in needed if name.endswith(".csv")} >= {
        "batchdose/data/cautions.csv", "batchdose/data/weight_limits.csv", "batchdose/data/withdrawal_minimums.csv",
        "batchdose/data/rules_told.csv",
        "batchdose/data/syringe_tolerances.csv", "batchdose/data/scale_tolerances.csv",
    }  # fmt: skip
    for name, path in needed.items():
        assert inside.get(name) == path.read_bytes(), name
    assert {name.partition("/")[0] for name in inside if ".dist-info/" not in name} == {"batchdose"}


def _of_package(path: Path) -> bool:
    return path.is_file() and path.suffix != ".pyc"


def test_it_doses_from_another_folder_with_the_templates_of_the_wheel(installed, tmp_path):
    place = run([installed / "python", "-c", "import batchdose; print(batchdose.__file__)"], tmp_path)
    package = Path(place.strip()).parent
    assert SOURCE not in package.parents
    mark = "<!-- from the wheel -->"
    template = package / "templates" / "job_sheet.html"
    template.write_text(template.read_text(encoding="utf-8").replace("</body>", f"{mark}</body>"), encoding="utf-8")
    for name in ("weighing.xlsx", "medicines.xlsx"):
        shutil.copy(EXAMPLE / name, tmp_path)
    run([installed / "batchdose", "dose", "weighing.xlsx", "medicines.xlsx"], tmp_path, status=1)
    outputs = {path.name: path.read_bytes() for path in (tmp_path / "weighing-job").iterdir()}
    assert sorted(outputs) == [
        "weighing-clear.ics", "weighing-dosed.xlsx", "weighing-job-sheet.html", "weighing-job-sheet.pdf",
        "weighing-results.json",
    ]  # fmt: skip
    html = outputs["weighing-job-sheet.html"].decode("utf-8")
    assert html.count(mark) == 1
    assert "DO NOT DOSE" in html
    assert (package / "templates" / "job_sheet.css").read_text(encoding="utf-8").strip() in html
    assert outputs["weighing-job-sheet.pdf"].startswith(b"%PDF")


def test_the_command_says_its_version(installed, wheel, tmp_path):
    version = run([installed / "batchdose", "--version"], tmp_path).split()[1]
    assert wheel.name.startswith(f"batchdose-{version}-")
