"""Products reach `results/` whole or not at all, whatever happens on the way."""

import contextlib
import json
import shutil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrackline import promote


def publish(site, files):
    """Write the products of a run."""
    tree = site / "work" / "publish"
    shutil.rmtree(tree, ignore_errors=True)
    for name, text in files.items():
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        (tree / name).write_text(text)
    sizes = {name: {"bytes": len(text), "sha256": ""} for name, text in files.items()}
    (tree / "manifest.json").write_text(json.dumps({"files": sizes}))


def results(site):
    """Return what is in `results/`, the manifest left out."""
    folder = site / "results"
    files = [file for file in folder.rglob("*") if file.is_file() and file.name != "manifest.json"]
    return {file.relative_to(folder).as_posix(): file.read_text() for file in files}


def leftovers(site):
    """Return the names beside `results/` that a promotion uses on the way."""
    return [path.name for path in site.iterdir() if path.name.endswith("~")]


@pytest.fixture
def site(tmp_path):
    """Return a site with earlier results, and new products that aren't in place yet."""
    publish(tmp_path, {"plan.txt": "earlier", "seasons/one.txt": "one"})
    promote.promote(tmp_path)
    publish(tmp_path, {"plan.txt": "new"})
    return tmp_path


def test_products_replace_the_earlier_ones_whole(site):
    """What the new manifest names is there, and what only the earlier one named is gone."""
    assert promote.promote(site)
    assert results(site) == {"plan.txt": "new"}
    assert leftovers(site) == []


def test_products_in_place_are_left_alone(site):
    """A second promotion of the same products does nothing."""
    promote.promote(site)
    assert not promote.promote(site)


def test_only_what_the_manifest_names_is_copied(site):
    """A stray file among the products stays where it is."""
    (site / "work" / "publish" / "stray.txt").write_text("stray")
    promote.promote(site)
    assert results(site) == {"plan.txt": "new"}


def test_file_that_a_person_put_there_stays(site):
    """A file that no manifest named is carried over, but not a database's side file."""
    (site / "results" / "notes").mkdir()
    (site / "results" / "notes" / "mine.txt").write_text("mine")
    (site / "results" / "plan.txt-wal").write_text("half a change")
    promote.promote(site)
    assert results(site) == {"plan.txt": "new", "notes/mine.txt": "mine"}


def test_results_behind_a_link_are_replaced_where_they_are(site, tmp_path_factory):
    """A link to another disk stays a link, and the products go to where it leads."""
    elsewhere = tmp_path_factory.mktemp("disk") / "results"
    (site / "results").rename(elsewhere)
    (site / "results").symlink_to(elsewhere)
    promote.promote(site)
    assert (site / "results").is_symlink()
    assert (elsewhere / "plan.txt").read_text() == "new"


@pytest.mark.parametrize("at_once", [True, False], ids=["exchange", "two renames"])
@pytest.mark.parametrize("point", range(12))
def test_promotion_cut_short_anywhere_leaves_a_complete_record(site, monkeypatch, point, at_once):
    """Cut at any file operation, `results/` is the earlier or the new record once recovered."""
    calls = iter(range(100))

    def counted(call):
        def operation(*arguments, **options):
            if next(calls) >= point:
                raise KeyboardInterrupt
            return call(*arguments, **options)

        return operation

    if not at_once:
        monkeypatch.setattr(promote, "_exchange_at_once", lambda _new, _final: False)
    monkeypatch.setattr(promote.Path, "rename", counted(promote.Path.rename))
    for name in ("copy2", "rmtree"):
        monkeypatch.setattr(promote.shutil, name, counted(getattr(shutil, name)))
    with contextlib.suppress(KeyboardInterrupt):
        promote.promote(site)
    monkeypatch.undo()
    promote.recover(site)
    assert results(site) in (
        {"plan.txt": "earlier", "seasons/one.txt": "one"},
        {"plan.txt": "new"},
    )
    assert leftovers(site) == []
    promote.promote(site)
    assert results(site) == {"plan.txt": "new"}


def test_full_disk_is_told_and_leaves_results(site, monkeypatch):
    """When a copy fails the message says what to do, and the earlier record stays."""

    def full(*_arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(promote.shutil, "copy2", full)
    with pytest.raises(promote.PromotionError, match=r"No space left(.|\n)*make room"):
        promote.promote(site)
    assert results(site)["plan.txt"] == "earlier"


@pytest.mark.parametrize("name", ["/etc/passwd", "../outside.txt", "a/../../b"])
def test_manifest_that_leads_outside_is_refused(site, name):
    """A path that leaves the products is a mistake of ours and copies nothing."""
    manifest = site / "work" / "publish" / "manifest.json"
    manifest.write_text(json.dumps({"files": {name: {}}}))
    with pytest.raises(ValueError, match="lies outside of the products"):
        promote.promote(site)
    assert results(site)["plan.txt"] == "earlier"


NAMES = st.from_regex(r"[a-c]{1,2}(/[a-c]{1,2})?\.t", fullmatch=True)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.dictionaries(NAMES, st.text("xy", max_size=3), min_size=1), min_size=1, max_size=4)
)
def test_results_are_always_the_last_products(tmp_path_factory, runs):
    """Whatever a series of runs makes, `results/` is exactly what the last one made."""
    site = tmp_path_factory.mktemp("site")
    for files in runs:
        publish(site, files)
        promote.promote(site)
        assert results(site) == files
