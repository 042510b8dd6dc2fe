"""What was done is kept beside the outputs, so that a rerun does only what changed: one small file a job."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from hashlib import sha256
from pathlib import Path

from batchdose import __version__
from batchdose.clients.find import KEPT
from batchdose.clients.jobs import ClientJob, job_json, job_of
from batchdose.clients.work import Options, today_in
from batchdose.findings import UnusableInputError


def sha256_of(path: Path) -> str:
    """SHA-256 of a file in hexadecimal digits."""
    return sha256(path.read_bytes()).hexdigest()


def fingerprint(hashes: Iterable[str], options: Options, whose: str, name: str) -> str:
    """What a job depends on, in one number: the inputs' contents, the options, this version, the client's name."""
    return sha256(repr((__version__, *hashes, options, whose, name)).encode()).hexdigest()


class Kept:
    """The jobs that are kept in a folder of outputs, each in a file named by the hash of its key."""

    def __init__(self, out: Path) -> None:
        self._out = out
        self._folder = out / KEPT

    def job(self, key: str, mark: str) -> ClientJob | None:
        """The job of a key, if it was done with this fingerprint and on this day, and all its files are there."""
        try:
            kept = json.loads(self._path(key).read_bytes())
            job = job_of(kept["job"])
        except (OSError, ValueError, KeyError, TypeError):
            return None
        there = all((self._out / written.path).is_file() for written in job.files)
        same_day = not job.today or job.today == today_in(job.today.split()[-1])
        return job if kept.get("mark") == mark and there and same_day and not job.failed else None

    def keep(self, job: ClientJob, mark: str) -> None:
        """Keep a job, in place of an earlier one of its key."""
        self._put(self._path(job.key), job_json(job, mark=mark))

    def forget_all_but(self, keys: Iterable[str]) -> None:
        """Drop jobs whose workbook is gone; their outputs stay."""
        wanted = {self._path(key).name for key in keys}
        for path in self._folder.glob("job-*.json"):
            if path.name not in wanted:
                path.unlink(missing_ok=True)

    def kinds(self) -> dict[str, str]:
        """What workbooks were found to be, by their SHA-256 and name."""
        try:
            kept = json.loads((self._folder / "kinds.json").read_bytes())
            kinds = kept["kinds"] if kept["version"] == __version__ else {}
            return {str(k): str(v) for k, v in kinds.items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}  # damaged, or of another version: looked into again

    def keep_kinds(self, kinds: Mapping[str, str]) -> None:
        """Keep what workbooks were found to be."""
        self._put(self._folder / "kinds.json", json.dumps({"version": __version__, "kinds": dict(kinds)}).encode())

    @property
    def mark(self) -> Path:
        """A file by which a worker sees that it has this folder before it, and not another of the same name."""
        return self._folder / f"run-{os.getpid()}"

    def _path(self, key: str) -> Path:
        return self._folder / f"job-{sha256(key.encode('utf-8', 'surrogatepass')).hexdigest()[:24]}.json"

    def _put(self, path: Path, content: bytes) -> None:
        passing = path.with_suffix(".new")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            passing.write_bytes(content)
            passing.replace(path)
        except OSError as error:
            raise UnusableInputError(
                str(self._folder), f"What was done cannot be noted: {error.strerror}.",
                "Check the folder and its free space; the same command goes on with the rest.",
            ) from None  # fmt: skip


def jobs_in(out: Path) -> list[ClientJob]:
    """All jobs that are kept in a folder of outputs, in order of client and key."""
    found = []
    for path in sorted((out / KEPT).glob("job-*.json")):
        try:
            found.append(job_of(json.loads(path.read_bytes())["job"]))
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return sorted(found, key=lambda job: (job.client.casefold(), job.key))
