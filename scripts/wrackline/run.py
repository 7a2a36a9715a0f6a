"""A run from the outside: the config first, one run a site, and products in place at the end.

The process that a person starts stays light and in charge. It reads the config, locks the site,
forks the engine, and puts the products in place when the engine has succeeded. Asked to stop, it
ends all that it started. However it ends, the same command run again gives the same bytes.
"""

from __future__ import annotations

import contextlib
import difflib
import gc
import importlib
import os
import signal
import sys
import traceback
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from wrackline import failure, lock, promote, scratch
from wrackline.errors import (
    EXIT_BUG,
    EXIT_OK,
    EXIT_STOPPED,
    ConfigError,
    Fault,
    WracklineError,
)
from wrackline.job import Job
from wrackline.step import die_with_parent

if TYPE_CHECKING:
    from wrackline.config import SiteConfig

ROOT = Path(__file__).resolve().parents[2]
_STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_STOPPED = "Stopped. results/ is the last complete record; run the same command again to go on."


def surveys_in(config: SiteConfig, file: str) -> tuple[str, ...]:
    """Return the surveys that a file holds.

    Raises
    ------
    ConfigError
        When no season names the file.
    """
    files = {name: survey.file for name, survey in config.surveys.items()}
    found = tuple(name for name, given in files.items() if Path(given) == Path(file))
    if found:
        return found
    near = difflib.get_close_matches(file, files.values(), n=1, cutoff=0.4)
    raise ConfigError(
        Fault(
            kind="no_such_survey_file",
            found=f"the file '{file}'",
            allowed=f"one that a season names: {', '.join(sorted(set(files.values())))}",
            consequence="nothing was checked",
            remedy=f"did you mean '{near[0]}'?" if near else "add it to a season's config first",
            file="config/seasons/",
        )
    )


class StopRequestError(Exception):
    """A person, or the system, asked the run to stop."""


def run(
    site: Path,
    *,
    read_config: Callable[[Path], SiteConfig],
    root: Path = ROOT,
    cores: int | None = None,
    check_only: bool = False,
    file: str | None = None,
    patience_s: float = 10.0,
) -> int:
    """Check a site, build it and put its products in place.

    Parameters
    ----------
    site : Path
        Folder of the site.
    read_config : callable
        Reads the site's config, which may say how much memory its steps may use (`memory_mb`);
        raises `wrackline.errors.ConfigError` when it can't be used.
    root : Path, optional
        Folder of the Snakefile.
    cores : int, optional
        Steps at work at once; as many as the machine has cores when not given.
    check_only : bool, optional
        Stop after the checks.
    file : str, optional
        With `check_only`: the one survey file to check, as its season names it.
    patience_s : float, optional
        How long to wait for a step that an interrupted run left behind.

    Returns
    -------
    int
        The exit code: 0, or what `wrackline.errors` names.
    """
    job = Job(site.resolve(), root.resolve(), cores, check_only)
    try:
        with _stoppable():
            config = read_config(site)
            for line in getattr(config, "notes", ()):
                say(line)
            job = replace(job, memory_mb=getattr(config, "memory_mb", job.memory_mb))
            if file is not None:
                job = replace(job, surveys=surveys_in(config, file))
            code = _run_locked(job, patience_s=patience_s)
            if check_only and file is None:
                known = importlib.import_module("wrackline.known_numbers")
                for line in known.say_unknown(job.site, getattr(config, "interpretations", ())):
                    say(line)
            return code
    except WracklineError as error:
        say(str(error))
        return error.exit_code
    except StopRequestError:
        say(_STOPPED)
        return EXIT_STOPPED


def rehearse(
    site: Path,
    *,
    read_config: Callable[[Path], SiteConfig],
    season: Path | None = None,
    root: Path = ROOT,
    cores: int | None = None,
) -> int:
    """Tell what a build would do, and check what is new; leave the site as it is.

    Parameters
    ----------
    site : Path
        Folder of the site.
    read_config : callable
        Reads the site's config; raises `wrackline.errors.ConfigError` when it can't be used.
    season : Path, optional
        A season file, wherever it lies, that is taken as if it lay in `config/seasons/`.
    root : Path, optional
        Folder of the Snakefile.
    cores : int, optional
        Steps of the check at work at once; as many as the machine has cores when not given.

    Returns
    -------
    int
        The exit code, as of `run`.
    """
    try:
        site = site.resolve()
        season = None if season is None else scratch.season_file(site, season)
        with (
            _stoppable(),
            scratch.stand_in(site, season, read_config=read_config) as (folder, config),
        ):
            job = Job(folder, root.resolve(), cores, check_only=True, built=site)
            return _run_locked(replace(job, memory_mb=config.memory_mb), patience_s=0.0)
    except WracklineError as error:
        say(str(error))
        return error.exit_code
    except StopRequestError:
        say("Stopped. Nothing of the site was touched.")
        return EXIT_STOPPED


def say(text: str) -> None:
    """Write a line to standard output; a terminal that has gone away disturbs nothing."""
    with contextlib.suppress(OSError):
        os.write(1, (text + "\n").encode())


def _run_locked(job: Job, *, patience_s: float) -> int:
    handle = lock.acquire(job.site, patience_s=patience_s, say=say)
    promote.recover(job.site)
    code = _run_engine(job, handle=handle)
    if code != EXIT_OK or job.check_only or promote.in_place(job.site):
        return code
    renumbered = _renumbered(job.site)
    promote.promote(job.site)
    for line in (f"The record is in {job.site / 'results'}.", *renumbered):
        say(line)
    return code


def _renumbered(site: Path) -> list[str]:
    """Return what to say of numbers that changed; what that needs is loaded only for it."""
    if not (site / "results" / promote.MANIFEST).is_file():
        return []
    return list(importlib.import_module("wrackline.renumbered").say_renumbered(site))


def _run_engine(job: Job, *, handle: int) -> int:
    """Fork the engine, wait for it, and leave nothing that it started at work."""
    sys.stdout.flush()
    sys.stderr.flush()
    signal.pthread_sigmask(signal.SIG_BLOCK, _STOP_SIGNALS)
    child = os.fork()
    if child == 0:
        _become_engine(job, handle=handle)
    try:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOP_SIGNALS)
        status = os.waitpid(child, 0)[1]
    except StopRequestError:
        with contextlib.suppress(ProcessLookupError, ChildProcessError):
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
        lock.end_holders(job.site)
        raise
    if status != 0:
        lock.end_holders(job.site)
    if not os.WIFSIGNALED(status):
        return os.WEXITSTATUS(status)
    found = failure.ended_from_outside(os.WTERMSIG(status))
    say(found.text)
    return found.exit_code


def _become_engine(job: Job, *, handle: int) -> None:
    """Do the engine's work in this, the forked, process; never return.

    The locked file becomes standard input, for this process and all that it starts. Loading
    Snakemake is most of an idle run; it goes without garbage collection, and without pandas, which
    Snakemake would load, where it finds it, for no more than to look at the type of settings.
    """
    code = EXIT_BUG
    try:
        die_with_parent()
        os.dup2(handle, 0)
        os.set_inheritable(0, True)
        for number in _STOP_SIGNALS:
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOP_SIGNALS)
        gc.disable()
        sys.modules["pandas"] = None  # type: ignore[assignment]
        code = importlib.import_module("wrackline.engine").start(job)
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """Turn the first stop signal into `StopRequestError`; later ones can't disturb the stopping.

    A signal that this process was started to ignore, as under ``nohup``, stays ignored.
    """

    def stop(_number: int, _frame: FrameType | None) -> None:
        for number in _STOP_SIGNALS:
            signal.signal(number, signal.SIG_IGN)
        raise StopRequestError

    before = {number: signal.getsignal(number) for number in _STOP_SIGNALS}
    for number, handler in before.items():
        if handler is not signal.SIG_IGN:
            signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
