"""`flowlog sheet` as a person types it."""

from __future__ import annotations

import csv
import json
import re
import shutil
import sqlite3
import sys
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import RIG, RIG_TEXT, store_scenario

from flowlog.cli import main
from flowlog.daemon.left_records import understand_record, waiting_records
from flowlog.record.export import sheet_from_json, values_from_csv
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch

PRIVATE = {
    "product": "Sample Herbicide",
    "registration": "1234-56",
    "amount": "5.5 fl oz",
    "site": "turf, home lawn",
    "location": "12 Sample Road",
    "applicator": "A. Sample",
    "certificate": "PA-0000",
}
WORDS = [word for item in PRIVATE.items() for word in ("--set", "=".join(item))]


@pytest.fixture(scope="module")
def stored(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("rig")
    store_scenario(folder)
    return folder


@pytest.fixture
def folder(stored, tmp_path, monkeypatch) -> Path:
    """A rig with a route of three stops; nothing remembered yet."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return Path(shutil.copytree(stored, tmp_path / "rig"))


@pytest.fixture
def run(folder):
    def go(*words: object, typed: str | None = None):
        rig = () if words and words[0] in ("forms", "fields", "template") else ("--data", folder)
        told = ["sheet", *(str(word) for word in (*words, *rig))]
        return CliRunner().invoke(main, told, input=typed)

    return go


def records(folder: Path):
    with Archive.open(folder) as archive:
        return archive.records()


def test_without_records_the_list_says_how_to_make_one(run):
    result = run()
    assert result.exit_code == 0
    assert "flowlog sheet new" in result.output


def test_a_record_of_a_stop_with_options_only(run, folder):
    result = run("new", "last", "--stop", 2, "--form", "private", *WORDS, "--no-ask")
    assert result.exit_code == 0, result.output
    assert "Saved: record 1, revision 1, complete." in result.stderr
    (found,) = records(folder)
    assert found.row.state == "complete"
    assert found.row.stop_number == 2
    assert found.row.made_by == "A. Sample"
    assert found.route_id == 1
    shown = run("show", 1).output
    assert "Sample Herbicide" in shown
    assert re.search(r"tips? of 8 blocked", shown)


def test_a_record_of_the_whole_route_adds_up_its_stops(run, folder):
    assert run("new", "--form", "private", *WORDS, "--no-ask").exit_code == 0
    for stop in (1, 2, 3):
        assert run("new", "--stop", stop, "--form", "private", *WORDS, "--no-ask").exit_code == 0
    whole, *parts = [found.row.fields["measured"] for found in records(folder)]
    for name in ("volume_m3", "area_m2", "spraying_s"):
        assert whole[name] == pytest.approx(sum(part[name] for part in parts), rel=1e-9)
    assert whole["rate_m3_m2"] == pytest.approx(whole["volume_m3"] / whole["area_m2"])
    assert whole["stop"] is None


def test_what_is_missing_is_named_and_the_record_is_a_draft(run, folder):
    result = run("new", "--stop", 1, "--form", "private", "--set", "site=lawn", "--no-ask")
    assert result.exit_code == 0
    assert "Missing for this set of fields: Product name; EPA registration number" in result.stderr
    assert "draft" in result.stderr
    assert [found.row.state for found in records(folder)] == ["draft"]
    assert "6 of the set 'private'" in run("list").output


def test_complete_refuses_what_is_not(run, folder):
    result = run("new", "--form", "private", "--set", "site=lawn", "--complete", "--no-ask")
    assert result.exit_code == 2
    assert "not saved, missing: Product name" in result.output
    assert records(folder) == []


def test_amending_appends_and_the_first_revision_stays_byte_for_byte(run, folder):
    run("new", "--stop", 1, "--form", "private", *WORDS, "--no-ask")

    def rows():
        with sqlite3.connect(folder / "flowlog.db") as db:
            found = db.execute("SELECT * FROM application_records ORDER BY id").fetchall()
        db.close()
        return found

    before = rows()
    words = ["--set", "amount=6 fl oz", "--set", "site="]
    result = run("amend", 1, *words, "--reason", "read the jug again", "--no-ask")
    assert result.exit_code == 0, result.output
    assert rows()[:1] == before
    assert len(rows()) == 2
    history = " ".join(run("history", 1).output.split())
    assert "Revision 1" in history
    assert "read the jug again" in history
    assert "total amount of product: 5.5 fl oz -> 6 fl oz" in history
    assert "Crop or site treated: turf, home lawn -> (empty)" in history
    assert "5.5 fl oz" in run("show", 1, "--revision", 1).output
    assert "6 fl oz" in run("show", 1).output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["new", "--set", "sight=lawn"], "did you mean site"),
        (["new", "--set", "site"], "not key=value"),
        (["new", "--set", "amount=12 oz"], "'fl oz' for a liquid"),
        (["new", "--set", "0.amount=1 lb"], "belongs to a product"),
        (["new", "--set", "13.amount=1 lb"], "1 to 12"),
        (["new", "--set", "2.site=lawn"], "belongs to the application"),
        (["new", "--form", "privat"], "did you mean private"),
        (["new", "--stop", "9"], "stops 1 to 3"),
        (["new", "none"], "no route 'none'"),
        (["new", "--from", "/nowhere.toml"], "there is no such file"),
        (["amend", "1", "--set", "site=lawn", "--reason", "x"], "there is no record 1"),
        (["show", "7"], "there is no record 7"),
    ],
)
def test_what_cannot_be_is_one_plain_line_exit_2_and_nothing_stored(run, folder, words, told):
    result = run(*words, *(["--no-ask"] if words[0] != "show" else []))
    assert result.exit_code == 2
    assert told in result.output
    assert "Traceback" not in result.output
    assert records(folder) == []


def test_an_amendment_needs_a_change_and_a_reason(run, folder):
    run("new", "--stop", 1, *WORDS, "--no-ask")
    assert "nothing to amend" in run("amend", 1, "--reason", "x", "--no-ask").output
    assert "--reason is missing" in run("amend", 1, "--set", "site=x", "--no-ask").output
    assert "revisions 1 to 1" in run("show", 1, "--revision", 2).output
    assert len(records(folder)) == 1


def test_a_file_of_answers_with_two_products(run, folder, tmp_path):
    file = tmp_path / "answers.toml"
    file.write_text(
        """
        form = "private"
        site = "turf"
        date = 2026-05-28
        begin = 14:05:00
        [[product]]
        product = "Sample Herbicide"
        amount = "5.5 fl oz"
        [[product]]
        product = "Sample Surfactant"
        registration = "exempt"
        amount = "0.3 pt"
        """
    )
    result = run("new", "--from", file, "--set", "2.amount=0.4 pt", "--no-ask")
    assert result.exit_code == 0, result.output
    fields = records(folder)[0].row.fields
    assert fields["products"][1]["amount"]["text"] == "0.4 pt"
    assert fields["values"]["date"] == {
        "text": "2026-05-28",
        "si": None,
        "si_unit": None,
        "from": "file",
    }
    assert fields["values"]["begin"]["text"] == "14:05"


def test_all_faults_of_a_file_come_at_once_with_their_lines(run, folder, tmp_path):
    file = tmp_path / "answers.toml"
    file.write_text(
        'site = "turf"\nwind_speed = "5"\ntemprature = "72 F"\nlocation = 5\n'
        '[[product]]\namount = "12 oz"\nsite = "x"\n'
    )
    result = run("new", "--from", file, "--no-ask")
    assert result.exit_code == 2
    lines = result.output.replace("flowlog: ", "").splitlines()
    places = [line.removeprefix(f"{file}:").split(":")[0] for line in lines]
    assert places == ["2", "3", "4", "6", "7"]
    assert "did you mean temperature" in lines[1]
    assert records(folder) == []


@pytest.mark.parametrize("form", ["private", "spot", "commercial", "strict"])
def test_the_template_can_be_read_back_as_it_is_and_filled_in(run, folder, tmp_path, form):
    file = tmp_path / "answers.toml"
    text = run("template", form).output
    file.write_text(text.replace('location = ""', 'location = "12 Sample Road"'))
    result = run("new", "--from", file, "--no-ask")
    assert result.exit_code == 0, result.output
    assert records(folder)[0].row.form == form
    assert set(records(folder)[0].row.fields["values"]) == {"location"}


def test_all_exports(run, tmp_path):
    files = {kind: tmp_path / f"sheet.{kind}" for kind in ("html", "csv", "json")}
    words = [word for kind, path in files.items() for word in (f"--{kind}", path)]
    result = run("new", "--stop", 2, "--form", "private", *WORDS, "--no-ask", *words)
    assert result.exit_code == 0, result.output
    assert files["html"].read_text().startswith("<!DOCTYPE html>")
    sheet = sheet_from_json(files["json"].read_text())
    with files["csv"].open(newline="") as source:
        values = values_from_csv(source)
    assert values[1, "amount"] == sheet.products[0]["amount"]
    assert values[0, "area"] == sheet.value("area")
    rows = list(csv.DictReader(files["csv"].open(newline="")))
    assert {row["record"] for row in rows} == {"1"}


def test_an_export_to_standard_output_is_nothing_but_the_export(run):
    run("new", "--stop", 2, *WORDS, "--no-ask")
    assert json.loads(run("show", 1, "--json", "-").stdout)["record"] == 1
    assert run("show", 1, "--html", "-").stdout.startswith("<!DOCTYPE html>")


def test_the_applicator_is_remembered_for_the_next_record_when_asked(run, folder):
    run("new", "--stop", 1, "--form", "private", *WORDS, "--no-ask")
    run("new", "--stop", 2, "--form", "private", *WORDS, "--no-ask", "--remember")
    run("new", "--stop", 3, "--no-ask")
    third = records(folder)[2].row
    assert third.form == "private"
    assert third.fields["values"]["applicator"]["text"] == "A. Sample"
    assert third.fields["values"]["certificate"]["from"] == "remembered"
    assert "site" not in third.fields["values"]
    assert third.fields["products"] == [{}]


def test_a_broken_file_of_remembered_answers_is_named(run, folder, tmp_path):
    path = tmp_path / "config" / "flowlog" / "sheet.toml"
    path.parent.mkdir(parents=True)
    path.write_text("applicator = \n")
    result = run("new", "--no-ask")
    assert result.exit_code == 2
    assert f"{path}:1" in result.output


def test_sets_and_fields_are_listed_with_sources(run):
    forms = " ".join(run("forms").output.split())
    for words in ("7 CFR 110.3", "40 CFR 171.303(b)(7)", "Keep: 2 years", "label is the law"):
        assert words in forms
    assert "registration" in run("fields").output


TYPED = [
    "privat",  # no such set: once more
    "private",
    "?",  # what is this?
    "",  # the product's name stays empty
    "EPA Est. 12-AB-1",  # the wrong number of the label
    "1234-56",
    "twelve",
    "12",
    "12 oz",
    "-12 fl oz",
    "5.5 fl oz",
    "perhaps",
    "n",
    "yesterday",
    "",  # the log's date stays
    "turf",
    "12 Sample Road",
    "120 ft",  # a length for an area
    "0 ft2",
    "",  # the log's area stays
    "A. Sample",
    "PA-0000",
]


def test_a_wrong_answer_gets_a_remark_and_another_try(run, folder):
    result = run("new", "--stop", 2, "--ask", typed="\n".join([*TYPED, "maybe", "y"]) + "\n")
    assert result.exit_code == 0, result.output
    for remark in (
        "did you mean private",
        "as on the label",
        "establishment number",
        "'twelve' is not a volume or a mass",
        "'12' has no unit",
        "'fl oz' for a liquid",
        "not more than zero",
        "'perhaps' is not yes or no",
        "'yesterday' is not a date",
        "'120 ft' is a length, not an area",
        "'maybe' is not yes or no",
    ):
        assert remark in result.output, remark
    fields = records(folder)[0].row.fields
    assert fields["products"] == [
        {
            "registration": {"text": "1234-56", "si": None, "si_unit": None, "from": "typed"},
            "amount": {
                "text": "5.5 fl oz",
                "si": pytest.approx(5.5 * 3.785411784e-3 / 128),
                "si_unit": "m3",
                "from": "typed",
            },
        }
    ]
    assert set(fields["values"]) == {"site", "location", "applicator", "certificate"}
    assert "Missing for this set of fields: Product name." in result.output


@pytest.mark.parametrize("end", [[], ["n"]])
def test_nothing_is_stored_until_it_is_confirmed(run, folder, end):
    typed = "".join(f"{line}\n" for line in [*TYPED, *end])
    result = run("new", "--stop", 2, "--ask", typed=typed)
    assert "Nothing was saved" in result.output or result.exit_code == 1
    assert records(folder) == []


@pytest.mark.parametrize("count", [0, 1, 5, 12])
def test_giving_up_half_way_stores_nothing(run, folder, count):
    result = run("new", "--ask", typed="".join(f"{line}\n" for line in TYPED[:count]))
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert records(folder) == []


def test_a_slip_of_ten_is_shown_before_the_question_to_save(run, folder):
    words = [*WORDS, "--set", "label_rate=0.4 fl oz/1000 ft2", "--set", "amount=55 fl oz"]
    result = run("new", "--stop", 2, "--form", "private", *words, "--ask", typed="\n" * 10 + "n\n")
    assert "is 10.1 times what its rate makes of this area" in result.output
    assert result.output.index("10.1 times") < result.output.index("Save it?")
    assert records(folder) == []


def test_amending_by_questions_offers_what_was_and_a_dash_empties(run, folder):
    run("new", "--stop", 2, "--form", "private", *WORDS, "--no-ask")
    typed = "too little\n\n\n6 fl oz\nn\n\n-\n\n\n\n\ny\n"
    result = run("amend", 1, "--ask", typed=typed)
    assert result.exit_code == 0, result.output
    assert "[5.5 fl oz]" in result.output
    second = records(folder)[1].row
    assert second.reason == "too little"
    assert second.fields["products"][0]["amount"]["text"] == "6 fl oz"
    assert "site" not in second.fields["values"]
    assert second.fields["values"]["location"]["text"] == "12 Sample Road"


def test_while_a_daemon_holds_the_store_the_record_goes_through_its_inbox(run, folder):
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    taken = threading.Event()

    def serve() -> None:
        while not taken.wait(0.05):
            for path in waiting_records(folder):
                recorder.commit(Batch(None, records=[understand_record(path)]))
                path.unlink()
                taken.set()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        result = run("new", "--stop", 2, "--form", "private", *WORDS, "--no-ask")
    finally:
        taken.set()
        thread.join(10)
        recorder.close()
    assert "Saved: record 1, revision 1, complete." in result.stderr
    assert len(records(folder)) == 1


def test_a_daemon_that_does_not_take_it_loses_nothing(run, folder, monkeypatch):
    monkeypatch.setattr("flowlog.cli.sheet_store._PATIENCE_S", 0.3)
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    try:
        result = run("new", "--stop", 2, "--form", "private", *WORDS, "--no-ask")
    finally:
        recorder.close()
    assert result.exit_code == 0
    assert "lies in the rig's inbox" in result.stderr
    (path,) = waiting_records(folder)
    assert understand_record(path).fields["products"][0]["product"]["text"] == "Sample Herbicide"


def test_who_waits_for_a_route_that_is_derived_anew_sees_how_far_it_is(run, folder, monkeypatch):
    """As after an update: it was derived by another version, which counts for nothing now."""
    told: list[tuple[str, float]] = []

    def at_terminal(what: str):
        return lambda share: told.append((what, share))

    monkeypatch.setattr("flowlog.review.progress.at_terminal", at_terminal)
    asked = ["correct", "1", "--data", str(folder), "--rig-file-only"]
    assert CliRunner().invoke(main, asked).exit_code == 0
    words = ("--form", "private", *WORDS, "--no-ask")
    for command in (("new", "last", *words), ("amend", "1", "--reason", "update", *words)):
        for kept in (folder / "derived").iterdir():
            kept.unlink()
        told.clear()
        assert run(*command).exit_code == 0
        assert {what for what, _ in told} == {"deriving anew"}
        shares = [share for _, share in told]
        assert shares == sorted(shares)
        assert len(shares) > 2
        assert shares[-1] == 1.0
