"""What is trusted under `work/` before a run, and what goes after it."""

import os

import pytest

from wrackline import housekeeping


@pytest.fixture
def site(tmp_path):
    """Return a site with three products, one of them a folder, and a log."""
    for name in ("work/a.txt", "work/deep/b.txt", "work/tree/c.txt", "logs/a/one.log"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(name)
        os.utime(tmp_path / name, (100, 100))
    (tmp_path / "work" / "tree" / ".snakemake_timestamp").touch()
    os.utime(tmp_path / "work" / "tree" / ".snakemake_timestamp", (100, 100))
    return tmp_path


PRODUCTS = ["work/a.txt", "work/deep/b.txt", "work/tree"]


def test_products_that_are_as_recorded_are_trusted(site):
    """A file, and a folder by its stamp, with the date that its record states are trusted."""
    found = housekeeping.untrusted(site, products=PRODUCTS, recorded_date=lambda _name: 100.0)
    assert found == []


@pytest.mark.parametrize("stated", [None, 99.0])
def test_product_without_a_record_or_of_another_date_is_not_trusted(site, stated):
    """No record, or one of another file, and the product has to be made again."""
    dates = {"work/a.txt": stated, "work/deep/b.txt": 100.0, "work/tree": stated}
    found = housekeeping.untrusted(site, products=PRODUCTS, recorded_date=dates.get)
    assert found == ["work/a.txt", "work/tree"]


def test_product_that_is_gone_is_not_trusted(site):
    """A record alone is no product."""
    (site / "work" / "a.txt").unlink()
    (site / "work" / "tree" / ".snakemake_timestamp").unlink()
    found = housekeeping.untrusted(site, products=PRODUCTS, recorded_date=lambda _name: 100.0)
    assert found == ["work/a.txt", "work/tree"]


def test_sweep_removes_what_no_rule_makes_and_empty_folders(site):
    """Files that are neither product nor log go, with the folders that they leave empty."""
    logs = site / "logs"
    for name in housekeeping.KEPT_LOGS:
        (logs / name).touch()
    removed = housekeeping.sweep(site, products=["work/a.txt", "work/tree"], logs=[])
    assert removed == ["logs/a/one.log", "work/deep/b.txt"]
    assert sorted(path.name for path in logs.iterdir()) == sorted(housekeeping.KEPT_LOGS)
    assert sorted(path.name for path in (site / "work").iterdir()) == ["a.txt", "tree"]
    assert (site / "work" / "tree" / "c.txt").exists()


def test_work_is_kept_where_its_mark_and_the_hidden_one_agree(site):
    """Once marked, work stays from run to run."""
    housekeeping.distrust_foreign_work(site)
    (site / "work" / "new.txt").touch()
    assert not housekeeping.distrust_foreign_work(site)
    assert (site / "work" / "new.txt").exists()


@pytest.mark.parametrize("lost", [".snakemake", "work"])
def test_work_without_its_mark_or_the_hidden_one_is_removed(site, lost):
    """Work whose records belong to another, or to none, is removed whole."""
    housekeeping.distrust_foreign_work(site)
    (site / "work" / "new.txt").touch()
    (site / lost / housekeeping.BOND).unlink()
    assert housekeeping.distrust_foreign_work(site)
    assert sorted(path.name for path in (site / "work").iterdir()) == [housekeeping.BOND]


def test_what_snakemake_lets_pile_up_is_pruned(site):
    """The newest few logs are kept, and no script of a step that was killed."""
    for folder in ("log", "scripts"):
        (site / ".snakemake" / folder).mkdir(parents=True)
    for number in range(30):
        (site / ".snakemake" / "log" / f"2021-01-{number:02}.snakemake.log").touch()
    (site / ".snakemake" / "scripts" / "tmp1.make.py").touch()
    housekeeping.prune_snakemake(site)
    kept = sorted(path.name for path in (site / ".snakemake" / "log").iterdir())
    assert (len(kept), kept[-1]) == (10, "2021-01-29.snakemake.log")
    assert list((site / ".snakemake" / "scripts").iterdir()) == []
