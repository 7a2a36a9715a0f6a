"""A run that is killed, whenever and however, leaves nothing that a second can't mend."""

import os
import signal
from concurrent.futures import ThreadPoolExecutor

import pytest
from run_helpers import (
    CHANGED_SITE,
    SITE,
    Site,
    alive,
    children,
    copy_workflow,
    engine_of,
    files_in,
    finish,
    wait_for,
)

SIGNALS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL]
MOMENTS = ["intake/alpha.json", "check/report.json", "walls/beta.txt", "publish/plan.txt"]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Return a site that was built once and then changed in every survey and setting."""
    folder = tmp_path_factory.mktemp("built")
    site = Site(folder / "site", copy_workflow(folder / "workflow"))
    site.configure(SITE)
    assert site.run().code == 0
    for name in SITE["surveys"]:
        (site.folder / "data" / f"{name}.txt").write_text("17\n19\n")
    site.configure(CHANGED_SITE)
    return site


@pytest.fixture(scope="module")
def undisturbed(built, tmp_path_factory):
    """Return what an undisturbed run makes of the changed site."""
    site = built.copy(tmp_path_factory.mktemp("undisturbed") / "site")
    assert site.run().code == 0
    return site.results()


def at_work(site, moment, before):
    """Return whether a product is being written: it is there, but only half of it."""
    file = site.folder / "work" / moment
    return lambda: file.exists() and file.stat().st_mtime_ns != before.get(moment)


def dates(site):
    """Return the dates of the products at the moments of interest."""
    files = {moment: site.folder / "work" / moment for moment in MOMENTS}
    return {moment: file.stat().st_mtime_ns for moment, file in files.items() if file.exists()}


def kill(run, target, number):
    """Send a signal to one of a run's processes, or to all of its group."""
    engine = engine_of(run)
    if target == "group":
        os.killpg(run.pid, number)
    else:
        pids = {"parent": run.pid, "engine": engine, "job": (children(engine) or [engine])[0]}
        os.kill(pids[target], number)


def kill_and_run_again(site, target, number, moment):
    """Disturb a run; return how it ended, what it left, and what a second run made."""
    before = dates(site)
    run = site.start(MINI_DELAY_S="0.4")
    wait_for(at_work(site, moment, before))
    processes = [run.pid, engine_of(run), *children(engine_of(run))]
    kill(run, target, number)
    ended = finish(run)
    wait_for(lambda: not any(map(alive, processes)), within_s=5)
    left = site.results()
    again = site.run()
    assert again.code == 0, again.text
    return ended, left, site.results()


@pytest.mark.parametrize("target", ["job", "engine", "parent", "group"])
def test_killed_run_leaves_results_alone_and_a_second_one_completes_them(
    target, built, undisturbed, tmp_path
):
    """Whichever process gets whichever signal, run again gives the bytes of an undisturbed run."""
    earlier = files_in(built.folder / "results")

    def scenario(position):
        site = built.copy(tmp_path / str(position))
        moment = MOMENTS[(position + len(target)) % len(MOMENTS)]
        return kill_and_run_again(site, target, SIGNALS[position], moment)

    with ThreadPoolExecutor(len(SIGNALS)) as pool:
        outcomes = list(pool.map(scenario, range(len(SIGNALS))))
    for ended, left, final in outcomes:
        assert ended.code in (130, -signal.SIGKILL), ended.text
        assert left == earlier
        assert final == undisturbed
        assert "Traceback" not in ended.text
