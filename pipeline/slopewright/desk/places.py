"""Where a jobs folder keeps what: every path that a request can name is made here, and none leads outside.

A job is a folder as the command line takes it, NAME with its run in NAME.run beside it.  What the desk adds
(database, uploads under way, deleted jobs, pictures for the page) lies in `.desk` and can be thrown away.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
import unicodedata
from contextlib import suppress
from pathlib import Path

from ..errors import InputError

DESK_FOLDER = ".desk"
RUN_SUFFIX = ".run"
MOST_NAME = 60  # characters of a job's folder
MOST_FILE_NAME = 120  # characters; file systems end at 255 bytes, and ours add endings of their own
TRASH_DAYS = 30  # that a deleted job is kept
FORBIDDEN = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]')  # in names of files, on any system
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)  # device names of Windows


class Places:
    """The paths of one jobs folder."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self.desk = self.root / DESK_FOLDER
        self.database = self.desk / "desk.sqlite"

    def prepare(self) -> None:
        """Make the folders.

        Raises
        ------
        InputError
            If they cannot be made or written.
        """
        try:
            for folder in (self.root, self.desk, self.desk / "uploads", self.desk / "trash"):
                folder.mkdir(parents=True, exist_ok=True)
            (self.desk / "locks").mkdir(exist_ok=True)
        except OSError as error:
            raise InputError(
                f"{self.root}: cannot be used as jobs folder ({error.strerror}), give another with --jobs"
            ) from error
        if not os.access(self.root, os.W_OK):
            raise InputError(f"{self.root}: cannot be written, give another jobs folder with --jobs")

    def jobs(self) -> list[str]:
        """Ids of the jobs: folders that are no run and not hidden."""
        return sorted(
            path.name
            for path in self.root.iterdir()
            if path.is_dir()
            and not path.is_symlink()
            and not path.name.startswith(".")
            and path.suffix != RUN_SUFFIX
        )

    def job(self, job_id: str) -> Path:
        """The folder of a job that exists.

        Raises
        ------
        InputError
            If there is no such job; a name with a path in it is none.
        """
        path = self.root / check_name(job_id)
        hidden = job_id.startswith(".") or path.suffix == RUN_SUFFIX
        if hidden or not path.is_dir() or path.is_symlink():
            raise InputError(f"{job_id}: no such job in {self.root.name}")
        return path

    def run(self, job_id: str) -> Path:
        """The run folder of a job, there or not."""
        return self.root / f"{self.job(job_id).name}{RUN_SUFFIX}"

    def file(self, job_id: str, name: str) -> Path:
        """A file of a job, there or not.

        Raises
        ------
        InputError
            If the name cannot be one of a file, or is a link.
        """
        path = self.job(job_id) / check_name(name)
        if path.is_symlink():
            raise InputError(f"{name}: a link, need the file itself")
        return path

    def output(self, job_id: str, name: str) -> Path:
        """A file of a job's run folder, which may lie in a folder there.

        Raises
        ------
        InputError
            If there is none inside the run folder.
        """
        folder = self.run(job_id).resolve()
        path = folder.joinpath(*(check_name(part) for part in name.split("/"))).resolve()
        if folder not in path.parents or not path.is_file():
            raise InputError(f"{name}: not in the run of {job_id}")
        return path

    def table(self, job_id: str, name: str) -> Path:
        """Where a table that was entered on the page is kept: not beside the cloud, it could pass for one."""
        return self.job(job_id) / "checks" / check_name(name)

    def part(self, job_id: str, name: str, n_bytes: int) -> Path:
        """Where an upload under way is kept."""
        return self.desk / "uploads" / self.job(job_id).name / f"{check_name(name)}.{n_bytes}.part"

    def cache(self, job_id: str) -> Path:
        """A folder for pictures of a job, made for the page."""
        folder = self.desk / "cache" / self.job(job_id).name
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    def lock(self, run_number: int) -> Path:
        """A file that a worker keeps locked as long as it lives."""
        return self.desk / "locks" / f"{run_number}.sqlite"

    def new_job(self, name: str) -> str:
        """Make the folder of a new job and give its id.

        Raises
        ------
        InputError
            If no name is left once it is made plain, or a job of that name exists.
        """
        job_id = plain_name(name)
        try:
            (self.root / job_id).mkdir()
        except FileExistsError:
            raise InputError(f"name: a job {job_id!r} exists already, need another name") from None
        return job_id

    def discard(self, job_id: str) -> str:
        """Put a job and its run aside; what is given back restores them."""
        job, run = self.job(job_id), self.run(job_id)
        token = f"{int(time.time())}-{secrets.token_hex(4)}"
        aside = self.desk / "trash" / token
        aside.mkdir()
        if run.exists():
            run.rename(aside / run.name)
        job.rename(aside / job.name)
        return token

    def restore(self, token: str) -> str:
        """Bring a discarded job back.

        Raises
        ------
        InputError
            If it is not there any more, or a new job has its name.
        """
        aside = self.desk / "trash" / check_name(token)
        if not aside.is_dir():
            raise InputError("this job was deleted for good")
        found = sorted(aside.iterdir(), key=lambda path: path.suffix == RUN_SUFFIX)
        for path in found:
            if (self.root / path.name).exists():
                raise InputError(f"{path.name}: a new one has its name, rename that first")
        for path in found:
            path.rename(self.root / path.name)
        aside.rmdir()
        return found[0].name

    def empty_trash(self) -> None:
        """Remove what was deleted long ago."""
        oldest = time.time() - TRASH_DAYS * 86400
        for aside in (self.desk / "trash").iterdir():
            stamp = aside.name.split("-")[0]
            if stamp.isdigit() and int(stamp) < oldest:
                shutil.rmtree(aside, ignore_errors=True)

    def mend(self, job_id: str) -> None:
        """Clear up behind a worker that was killed while it wrote: the run is the old or the new one."""
        run = self.run(job_id)
        for left in self.root.glob(f".{run.name}.*"):
            if not run.exists() and (left / run.name).is_dir():
                (left / run.name).rename(run)
        for left in self.root.glob(f".{run.name}.*"):
            with suppress(OSError):
                shutil.rmtree(left)


def check_name(name: str) -> str:
    """A name of a file or folder that is a name on every system, and no path.

    Raises
    ------
    InputError
        If it is not.
    """
    fault = (
        not name
        or len(name) > MOST_FILE_NAME
        or FORBIDDEN.search(name)
        or name.startswith(".")
        or name != name.strip(" .")
        or RESERVED.fullmatch(name)
    )
    if fault:
        shown = "".join(c if c.isprintable() else "?" for c in name)[:40]
        raise InputError(f"{shown!r}: not a file name that every system takes, rename it")
    return name


def plain_name(name: str) -> str:
    """A job's name as a folder: plain letters, digits and hyphens.

    Raises
    ------
    InputError
        If nothing is left of it.
    """
    flat = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^a-z0-9]+", "-", flat.lower()).strip("-")[:MOST_NAME].strip("-")
    if not plain:
        raise InputError("name: got nothing with a letter or a digit in it, need a name")
    return f"job-{plain}" if RESERVED.fullmatch(plain) else plain
