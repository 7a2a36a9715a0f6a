"""A language file is used whole, or everything wrong with it is named at once."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from fontTools.fontBuilder import FontBuilder
from fontTools.ttLib import TTFont
from matplotlib import font_manager

from wrackline import run as running
from wrackline.command import main
from wrackline.config import load_site
from wrackline.errors import ConfigError
from wrackline.publish.sheets.words import WORDS
from wrackline.sources import font_of

ROOT = Path(__file__).parents[3]
HEAD = 'language: українська\ndecimal_mark: ","\ndate_pattern: DD.MM.YYYY\n'
DEJAVU = Path(font_manager.findfont("DejaVu Sans"))


@pytest.fixture
def site(tmp_path):
    """Return a function that gives the hamlet a language file, and the folder."""

    def write(text, name="uk.yaml"):
        config = tmp_path / "config"
        if not config.exists():
            shutil.copytree(ROOT / "tests" / "hamlet" / "config", config)
        (config / "languages").mkdir(exist_ok=True)
        (config / "languages" / name).write_text(text, encoding="utf-8")
        return tmp_path

    return write


def faults_of(folder):
    """Return the faults that loading raises, by kind."""
    with pytest.raises(ConfigError, match="found:") as caught:
        load_site(folder)
    return {fault.kind: fault for fault in caught.value.faults}


def test_a_short_file_is_read_and_the_rest_stays_english(site):
    """What is translated is, and a run is told once how much isn't."""
    loaded = load_site(site(HEAD + "words:\n  trench: розкоп\n"))
    assert loaded.languages["uk"].words == {"trench": "розкоп"}
    (note,) = loaded.notes
    assert f"{len(WORDS) - 1} of {len(WORDS)} phrases stay English" in note
    assert "title_site" in note


def test_no_languages_are_no_fault(tmp_path):
    """A site without languages has English, and nothing to say."""
    shutil.copytree(ROOT / "tests" / "hamlet" / "config", tmp_path / "config")
    loaded = load_site(tmp_path)
    assert (loaded.languages, loaded.notes) == ({}, ())
    assert font_of(loaded, "plan") == []


def test_empty_blocks_are_empty(site):
    """A file whose phrases are all still comments is a language of English words."""
    loaded = load_site(site(HEAD + "words:\n  # trench: розкоп\nown:\n"))
    assert (loaded.languages["uk"].words, loaded.languages["uk"].own) == ({}, {})


def test_all_faults_are_named_at_once_with_their_lines(site):
    """A misspelt key, other names in braces and unheld letters come together, each with its row."""
    text = HEAD + "words:\n  trensch: розкоп\n  page_of: аркуш {no}\n  legend: 図例\n"
    found = faults_of(site(text))
    assert set(found) == {"unknown_phrase", "names_in_braces", "font_lacks_characters"}
    assert "did you mean 'trench'?" in found["unknown_phrase"].remedy
    assert (found["unknown_phrase"].row, found["names_in_braces"].row) == (5, 6)
    assert found["names_in_braces"].found == "words.page_of: {no}"
    assert "{count}, {number}" in found["names_in_braces"].allowed
    lacking = found["font_lacks_characters"]
    assert "図 (U+56F3 CJK UNIFIED IDEOGRAPH-56F3)" in lacking.found
    assert "words.legend" in lacking.found
    assert lacking.row == 7


@pytest.mark.parametrize(
    ("phrase", "found"),
    [
        ("аркуш {number}", "{number}"),
        ("аркуш", "nothing in braces"),
        ("аркуш {number} {count} {count} {more}", "{count}, {more}, {number}"),
        ("аркуш {number} з {count", "expected '}' before end of string"),
        ("аркуш {number.real} {count}", "{count}, {number.real}"),
        ("аркуш {} {count}", "{}, {count}"),
    ],
)
def test_names_in_braces_are_held_to_the_english_phrase(site, phrase, found):
    """A value that is left out, invented or taken apart is refused before a sheet is drawn."""
    fault = faults_of(site(HEAD + f'words:\n  page_of: "{phrase}"\n'))["names_in_braces"]
    assert fault.found == f"words.page_of: {found}"


def test_names_may_change_their_order(site):
    """Another language has another order of words, and may name a value twice."""
    text = HEAD + 'words:\n  page_of: "з {count} аркушів ({count}) цей {number}"\n'
    assert load_site(site(text)).languages["uk"].words["page_of"].startswith("з {count}")


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("decimal_mark: ','\n", "no key 'language'"),
        (HEAD.replace("decimal_mark", "decimal_mrak"), "decimal_mrak"),
        (HEAD.replace('","', '";"'), "decimal_mark"),
        (HEAD.replace("DD.MM.YYYY", "DD.MM.YY"), "YYYY, MM and DD"),
        (HEAD + "words:\n  trench: ''\n", "words.trench"),
        (HEAD + "words:\n  trench: розкоп\n  trench: шурф\n", "a second time"),
        (HEAD + "words: [розкоп]\n", "words"),
    ],
)
def test_slips_of_form_are_refused(site, head, said):
    """What isn't a language file is refused as every other config file is."""
    with pytest.raises(ConfigError, match=r"config/languages/uk\.yaml") as caught:
        load_site(site(head))
    assert said in str(caught.value)


@pytest.mark.parametrize("name", ["ukrainian_words.yaml", "UK.yaml", "u.yaml", "uk.yml"])
def test_files_are_called_by_their_tag(site, name):
    """A file that no sheet could ask for is refused."""
    assert "language_misnamed" in faults_of(site(HEAD, name))


def test_a_language_file_with_a_fault_is_no_missing_one(site):
    """Sheets in a language whose file can't be read are no second fault."""
    folder = site(HEAD.replace("DD.MM.YYYY", "DD.MM.YY"))
    path = folder / "config" / "site.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "\nsheets:\n  plan: {language: uk}\n", encoding="utf-8")
    assert set(faults_of(folder)) == {"bad_value"}


def test_a_text_that_the_site_has_not_but_nearly_has_is_told(site):
    """A misspelt text under own would silently translate nothing."""
    name = load_site(site(HEAD)).site.depths_below
    loaded = load_site(site(HEAD + f'own:\n  "{name[:-1]}": рівень\n  hearth: вогнище\n'))
    assert any(f"did you mean '{name}'?" in note for note in loaded.notes)
    assert not any("hearth" in note for note in loaded.notes)


@pytest.mark.parametrize(
    ("name", "told"), [("Ебрун", False), ("沈んだ町", True), ("Ébrune", False)]
)
def test_names_that_english_sheets_cannot_print_are_told(site, name, told):
    """A site's name in letters that the built-in font lacks is said at once; Cyrillic is held."""
    folder = site(HEAD)
    path = folder / "config" / "site.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"(?m)^name: .*$", f"name: {name}", text), encoding="utf-8")
    (folder / "config" / "languages" / "uk.yaml").unlink()
    notes = load_site(folder).notes
    assert any("empty boxes" in note and "沈" in note for note in notes) == told


@pytest.mark.parametrize(
    ("phrase", "told"),
    [
        ("خندق", "begin at the left"),
        ("תעלה", "letters of Hebrew were never looked at"),
        ("όρυγμα", ""),
        ("խրամատ", ""),
        ("ტრანშეა", ""),
        ("tranchée nº 2 µ", ""),
    ],
)
def test_what_a_script_needs_looking_at_is_told(site, phrase, told):
    """Scripts from right to left, and those that nobody has looked at, are said and drawn."""
    notes = load_site(site(HEAD + f"words:\n  trench: {phrase}\n")).notes
    if told:
        assert any(told in note for note in notes)
    else:
        assert len(notes) == 1
        assert "stay English" in notes[0]


def own_font(folder, letters, *, fs_type=0):
    """Write a font that holds some letters alone."""
    letters = sorted(set(letters))
    builder = FontBuilder(1000, isTTF=True)
    names = [".notdef", *(f"u{ord(c):04X}" for c in letters)]
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({ord(c): f"u{ord(c):04X}" for c in letters})
    with TTFont(DEJAVU) as dejavu:
        builder.setupGlyf({name: dejavu["glyf"][".notdef"] for name in names})
    builder.setupHorizontalMetrics(dict.fromkeys(names, (600, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Own", "styleName": "Regular"})
    builder.setupOS2(fsType=fs_type)
    builder.setupPost()
    path = folder / "config" / "fonts" / "own.ttf"
    path.parent.mkdir(exist_ok=True)
    builder.save(path)


FONT = HEAD + "font: fonts/own.ttf\nwords:\n  trench: розкоп\n"


def test_a_font_of_ones_own_must_hold_all_that_is_drawn(site):
    """Untranslated phrases, figures and the site's texts are drawn in it too."""
    folder = site(FONT)
    own_font(folder, [chr(code) for code in range(33, 127)])
    lacking = faults_of(folder)["font_lacks_characters"]
    assert "words.trench" in lacking.found
    assert "fonts/own.ttf" in lacking.allowed
    phrases = "".join(WORDS.values())
    own_font(folder, [*map(chr, range(33, 127)), *"розкоп±−°–·", *phrases.replace(" ", "")])
    assert load_site(folder).languages["uk"].font == "fonts/own.ttf"


@pytest.mark.parametrize(
    ("font", "said"),
    [
        ("fonts/none.ttf", "no such file"),
        ("../own.ttf", "leads out of config/"),
        ("/usr/share/own.ttf", "leads out of config/"),
        ("languages/uk.yaml", "no readable font"),
    ],
)
def test_fonts_that_cannot_be_had_are_refused(site, font, said):
    """A font is a file of the site, and a font."""
    fault = faults_of(site(HEAD + f"font: {font}\n"))["font_unusable"]
    assert said in fault.found
    assert fault.row == 4


def test_fonts_that_must_not_be_passed_on_are_refused(site):
    """The licence field of the OpenType specification: fsType 2 forbids to embed the font."""
    folder = site(FONT)
    own_font(folder, "розкоп", fs_type=2)
    assert "forbid to embed" in faults_of(folder)["font_unusable"].found


def test_a_language_to_fill_in_can_be_read_as_it_is(site, capfd):
    """The list of words is a valid file that says every phrase, and is never written over."""
    folder = site(HEAD)
    assert main(["words", "--site", str(folder), "--language", "el"]) == 0
    text = (folder / "config" / "languages" / "el.yaml").read_text(encoding="utf-8")
    assert all(f"  # {key}: " in text for key in WORDS)
    assert f"# {load_site(folder).site.name}" in text
    assert main(["words", "--site", str(folder), "--language", "el"]) == 0
    assert (folder / "config" / "languages" / "el.yaml").read_text(encoding="utf-8") == text
    assert "  # page_of: '{number} of {count}'" in capfd.readouterr().out


def test_uncommented_lines_of_the_list_are_english(site):
    """Each line stands for itself once its # is off, whatever quotes it needs."""
    folder = site(HEAD)
    main(["words", "--site", str(folder), "--language", "el"])
    path = folder / "config" / "languages" / "el.yaml"
    text = path.read_text(encoding="utf-8").replace("\n  # ", "\n  ")
    path.write_text(text, encoding="utf-8")
    loaded = load_site(folder).languages["el"]
    assert loaded.words == WORDS
    assert all(key == value for key, value in loaded.own.items())


def test_what_the_demo_lacks_is_nothing(capfd):
    """The demo's Ukrainian says all that sheets say."""
    assert main(["words", "--site", str(ROOT), "--language", "uk"]) == 0
    assert "words:" not in capfd.readouterr().out


def test_a_tag_that_is_none_is_refused(capfd):
    """A language without a tag has no file name."""
    assert main(["words", "--site", str(ROOT), "--language", "Ukrainian language"]) == 2
    assert "pt-BR" in capfd.readouterr().out


def test_sites_without_languages_load_no_fonts(tmp_path):
    """Fonts are opened only where there is a language to check them for."""
    shutil.copytree(ROOT / "tests" / "hamlet" / "config", tmp_path / "config")
    code = (
        "import sys; from pathlib import Path; from wrackline.config import load_site; "
        f"load_site(Path({str(tmp_path)!r})); print('fontTools' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_a_run_says_once_what_stays_english(site, monkeypatch, capfd):
    """The number of phrases without a translation is told at the start, and stops nothing."""
    monkeypatch.setattr(running, "_run_locked", lambda _job, patience_s: int(patience_s * 0))
    assert running.run(site(HEAD), read_config=load_site) == 0
    assert capfd.readouterr().out.count(f"of {len(WORDS)} phrases stay English") == 1


def test_a_file_can_be_written_for_sheets_that_already_ask_for_it(site, capfd):
    """The fault's own remedy works: `make words` isn't stopped by what it is to mend."""
    folder = site(HEAD)
    path = folder / "config" / "site.yaml"
    content = yaml.safe_load(path.read_text(encoding="utf-8"))
    content["sheets"] = {"a": {"language": "pt"}, "b": {"language": "el"}}
    path.write_text(yaml.safe_dump(content, allow_unicode=True), encoding="utf-8")
    assert set(faults_of(folder)) == {"unknown_language"}
    for code in ("pt", "el"):
        assert main(["words", "--site", str(folder), "--language", code]) == 0
        assert (folder / "config" / "languages" / f"{code}.yaml").is_file()
    capfd.readouterr()
    assert load_site(folder).site.sheets["a"].language == "pt"
