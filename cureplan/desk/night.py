"""A night on the desk: the plan the crew works by, its log, and who hears of what is new.

Everything lies in the job's own folder: the log beside the plan the crew began with, each
plan made on the night in a folder of its own, as `cureplan replan` would write it.
"""

from __future__ import annotations

import asyncio
import re
import secrets
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import CurePlanError, InputError, OutputError
from cureplan.desk.folder import JobFolder, NoSuchJobError
from cureplan.desk.hub import NightLog
from cureplan.desk.share import Gate

if TYPE_CHECKING:
    from cureplan.planning.plan.model import Plan

__all__ = ["LOG", "Night", "Work"]

LOG = "night-log.csv"
MOST_PLANS = 200
MOST_SAID = 4_000
_TITLE = re.compile(r"plan ([0-9a-f]{16})\s*$")
HERE = Path(__file__).parent


@dataclass(slots=True, kw_only=True)
class Work:
    """A run of cureplan for this night: what it is for, and how it ended."""

    what: str
    running: bool = True
    said: str = ""
    process: asyncio.subprocess.Process | None = None
    stopped: bool = False


@dataclass(slots=True, kw_only=True)
class PlanOfNight:
    """One of the plans a night was worked by."""

    folder: Path
    ident: str
    plan: Plan
    written: tuple[int, int]
    """When its file was written, and its size."""
    sheet: str = ""

    def is_in_place(self) -> bool:
        """Whether its file is still the one that was read."""
        with suppress(OSError):
            return _written(self.folder / "plan.json") == self.written
        return False


@dataclass(slots=True)
class Night:
    """One job's night; made by `Night.of`."""

    name: str
    folder: JobFolder
    plans: list[PlanOfNight]
    log: NightLog
    gate: Gate
    boot: str = field(default_factory=lambda: secrets.token_hex(6))
    """Versions of the log are counted anew by each desk that is started."""
    work: Work | None = None
    hearing: dict[asyncio.Event, str | None] = field(default_factory=dict)
    closing: bool = False

    @classmethod
    def of(cls, folder: JobFolder, name: str) -> Night:
        """The night of a job whose plan lies in the folder."""
        from cureplan.planning.replan.replan import night_site

        home = folder.plan_path(name)
        folder.job_path(name)
        if not (home / "plan.json").is_file():
            raise NoSuchJobError(f"{name!r} has no plan yet; plan it first")
        plans = _chain(home)
        log = NightLog(
            _log_of(home, plans[0]),
            title=f"{_one_line(plans[0].plan.job.site.name)}, plan {plans[0].ident}",
            site=night_site(plans[-1].plan),
        )
        gate = Gate(folder.own() / f"{name}.share.json")
        return cls(name, folder, plans, log, gate)

    @property
    def ident(self) -> str:
        """Names the night to phones: the plan it began with."""
        return self.plans[0].ident

    @property
    def current(self) -> PlanOfNight:
        """What the crew works by now."""
        return self.plans[-1]

    # What phones say and hear

    def take(self, sent: Mapping[str, Any], *, author: str) -> list[dict[str, str]]:
        """A phone's message: refused whole where it is of another night or another job."""
        known = [each.ident for each in self.plans]
        if sent.get("night") != self.ident or sent.get("plan") not in known:
            raise InputError(
                "this sheet is of another plan than tonight's",
                cure="open the sheet again from the desk; what it holds stays on the phone",
            )
        ops = sent.get("ops")
        if not isinstance(ops, list) or not all(isinstance(op, dict) for op in ops):
            raise InputError("the entries are no list", cure="open the sheet again")
        return self.log.take(ops, author=author)

    def add_file(self, text: str, *, name: str) -> list[dict[str, str]]:
        """Take in what a phone saved as a file; refused where it names another plan."""
        head = text[:500].splitlines()[:1]
        found = _TITLE.search(head[0]) if head and head[0].startswith("#") else None
        if found is not None and found[1] not in [each.ident for each in self.plans]:
            raise InputError(
                "this log is of another plan", cure="add it to the night it is of", source=name
            )
        if "A rehearsal" in text[:1000]:
            raise InputError(
                "this log is of a rehearsal", cure="none of it happened", source=name
            )
        return self.log.add_file(text, name=name, author=f"file {name}"[:60])

    def message(self, *, name: str, boot: str, since: int) -> dict[str, Any]:
        """What a phone has not heard yet, and by which plan the crew works."""
        since = since if boot == self.boot else 0
        version, entries = self.log.news(since=since)
        return {
            "you": name, "boot": self.boot, "version": version,
            "entries": [entry.shown() for entry in entries],
            "plan": {
                "id": self.current.ident, "follows": len(self.plans) > 1,
                "changes": _changes(self.current.plan),
            },
        }  # fmt: skip

    def lets_in(self, token: str, name: str) -> bool:
        """Whether a phone that listens may go on listening."""
        return self.gate.on and self.gate.name_of(token) == name

    def tell(self) -> None:
        """Wake everybody who listens; from the event loop alone."""
        for event in self.hearing:
            event.set()

    def sheet(self, ident: str = "") -> str:
        """The sheet of one of the night's plans, the current one by default."""
        from cureplan.output.sheet.page import Served, sheet_html

        found = next((p for p in reversed(self.plans) if not ident or p.ident == ident), None)
        if found is None:
            raise NoSuchJobError("no plan of this night has that name")
        if not found.sheet:
            script = (HERE / "script" / "phone.js").read_text(encoding="utf-8")
            found.sheet = sheet_html(found.plan, served=Served(night=self.ident, script=script))
        return found.sheet

    # Planning again, and the record

    def require_entries(self) -> None:
        """Refuse what makes no sense without a log, or with a plan the crew never had."""
        if not (self.plans[0].is_in_place() and self.current.is_in_place()):
            raise InputError(
                "the job was planned anew since the night began",
                cure="stop sharing, and open this page again: the log so far is kept as a file",
            )
        if not any(entry.counts and entry.event for entry in self.log.entries()):
            raise InputError("nothing is in the log yet", cure="tick what was done first")

    async def plan_again(self) -> None:
        """Plan what remains in a process of its own; the sheet before it stays."""
        out = _free_folder(self.plans[0].folder)
        plan_file = str(self.current.folder / "plan.json")
        code = await self._run(
            "plan", "replan", plan_file, str(self.log.path), "--out", str(out)
        )
        if code in (0, 1) and (out / "plan.json").is_file():
            await asyncio.to_thread(self._take_plan, out)
        self.tell()

    def _take_plan(self, folder: Path) -> None:
        from cureplan.planning.replan.replan import night_site

        found = _plan_in(folder)
        if found.plan.rooms:
            self.plans.append(found)
            self.log.plan_changed(night_site(found.plan))
            self.sheet()

    async def write_record(self) -> None:
        """Keep what the night showed, for `fit` and later plans."""
        first = str(self.plans[0].folder / "plan.json")
        records = str(self.folder.path / "records")
        await self._run(
            "record", "record", first, str(self.log.path), "--out", records, "--force"
        )
        self.tell()

    async def _run(self, what: str, *words: str) -> int:
        """Run cureplan beside the desk; its refusal is kept in `work`."""
        if self.work is not None and self.work.running:
            raise InputError("the desk is planning already", cure="wait, or stop it")
        work = self.work = Work(what=what)
        self.tell()
        try:
            work.process = await asyncio.create_subprocess_exec(
                # -P: no file of the job's folder is ever taken for a module.
                *(sys.executable, "-P", "-m", "cureplan", *words),
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.DEVNULL,
                stderr=asyncio.subprocess.PIPE,
                cwd=self.folder.path,
            )
            _, said = await work.process.communicate()
            code = int(work.process.returncode or 0)
        except OSError as error:
            said, code = f"cureplan could not be run ({error.strerror})".encode(), 5
        except asyncio.CancelledError:
            self.stop()
            raise
        finally:
            work.running = False
        work.said = _words(work, said, code, self.folder.path)
        return code

    def stop(self) -> None:
        """End a run; nothing of it is left."""
        if self.work is not None and self.work.process is not None and self.work.running:
            self.work.stopped = True
            with suppress(ProcessLookupError):
                self.work.process.terminate()


_DONE = {"plan": "The new plan is on every phone.", "record": "The night's record is written."}


def _words(work: Work, said: bytes, code: int, folder: Path) -> str:
    """How a run ended, with no path of the machine."""
    if work.stopped:
        return "Stopped; nothing has changed."
    lines = said.decode("utf-8", "replace")[-MOST_SAID:].strip().splitlines()
    text = lines[-1] if lines else ""
    for path in {f"{folder}/", f"{folder.resolve()}/"}:
        text = text.replace(path, "")
    if code == 0:
        return _DONE[work.what]
    if code == 1 and work.what == "plan":
        return f"{_DONE['plan']} It keeps less than the policy asks: see its sheet."
    text = text.removeprefix("cureplan: ") or f"cureplan ended with {code} and said nothing"
    if work.what == "record":
        return f"The night is over and its log is kept; no record was written: {text}"
    return text


def _chain(home: Path) -> list[PlanOfNight]:
    """The plan of a folder, and those made from it on the night, in turn."""
    found = [_plan_in(home)]
    for number in range(2, MOST_PLANS):
        folder = home.with_name(f"{home.name}-{number}")
        if folder.is_symlink() or not (folder / "plan.json").is_file():
            continue
        with suppress(CurePlanError):
            after = _plan_in(folder)
            if after.plan.night is not None and after.plan.night.follows == found[-1].ident:
                found.append(after)
    return found


def _free_folder(home: Path) -> Path:
    named = (home.with_name(f"{home.name}-{number}") for number in range(2, MOST_PLANS))
    found = next((folder for folder in named if not folder.exists()), None)
    if found is None:
        raise InputError("this job has too many plans", cure="move old ones elsewhere")
    return found


def _plan_in(folder: Path) -> PlanOfNight:
    from cureplan.api import read_plan
    from cureplan.planning.plan.model import plan_id

    written = _written(folder / "plan.json")
    plan = read_plan(folder / "plan.json")
    return PlanOfNight(folder=folder, ident=plan_id(plan), plan=plan, written=written)


def _written(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_mtime_ns, found.st_size


def _log_of(home: Path, first: PlanOfNight) -> Path:
    """Where the log lies; one of an earlier plan of the same job is put aside, not lost."""
    path = home / LOG
    head = ""
    if path.is_file():
        with suppress(OSError), path.open(encoding="utf-8", errors="replace") as file:
            head = file.readline(500)
    found = _TITLE.search(head)
    if found is not None and found[1] != first.ident:
        try:
            path.replace(_free(home, f"night-log-{found[1]}"))
        except OSError as error:
            raise OutputError(
                f"{LOG}: an older night's log could not be put aside ({error.strerror})"
            ) from error
    return path


def _free(home: Path, stem: str) -> Path:
    """A name that nothing bears: a plan gone back to has put a log aside before."""
    aside = home / f"{stem}.csv"
    for number in count(2):
        if not (aside.exists() or aside.is_symlink()):
            break
        aside = home / f"{stem}-{number}.csv"
    return aside


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _changes(plan: Plan) -> dict[str, list[str]]:
    """What a plan made on the night changed, in each language of the job."""
    from cureplan.output.view.view import voice_of

    changes: Sequence[Any] = () if plan.night is None else plan.night.changes
    return {
        language: [voice_of(plan, language, on_sheet=True).say(change) for change in changes]
        for language in plan.job.languages
    }
