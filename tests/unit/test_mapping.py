import json

import pytest

from fleet.errors import SourceError
from fleet.ingest.mapping import (
    Always,
    FileMapping,
    LogMapping,
    MappedColumn,
    Same,
    WordMeaning,
    plain_written,
    read_mapping,
)

WHOLE = """
[[file]]
name = "calls 2024.csv"
table = "visits"
header_record = 3
dates = "dmy"
decimal = "comma"
  [[file.column]]
  header = "AC #"
  means = "equipment_id"
  [[file.column]]
  header = "Lbr"
  means = "labor_minutes"
  unit = "hours"
  position = 3
  [[file.column]]
  header = "Called"
  means = "reported_at"
  dates = "mdy"
  [[file.column]]
  header = "At"
  means = "reported_at"
  part = "time"
  [[file.column]]
  header = "Phone"
  means = ""
  [[file.always]]
  means = "property"
  value = "Cedar Court"
[[file]]
name = "junk*.csv"
table = ""
[[same]]
column = "building"
keep = "Juniper 3"
written = ["juniper 03", "JUN3"]
[[word]]
column = "finding"
written = "cap blew"
means = "run capacitor"
"""


def mapping_of(tmp_path, text):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    return read_mapping(path)


def test_everything_a_mapping_can_say(tmp_path):
    assert mapping_of(tmp_path, WHOLE) == LogMapping(
        files=(
            FileMapping(
                name="calls 2024.csv", table="visits", header_record=3, dates="dmy", decimal="comma",
                columns=(
                    MappedColumn(header="AC #", means="equipment_id"),
                    MappedColumn(header="Lbr", means="labor_minutes", unit="h", position=3),
                    MappedColumn(header="Called", means="reported_at", dates="mdy"),
                    MappedColumn(header="At", means="reported_at", part="time"),
                    MappedColumn(header="Phone", means=""),
                ),
                always=(Always(means="property", value="Cedar Court"),),
            ),
            FileMapping(name="junk*.csv", table=""),
        ),
        same=(Same(column="building", keep="Juniper 3", written=("juniper 03", "JUN3")),),
        words=(WordMeaning(column="finding", written="cap blew", means="run capacitor"),),
    )  # fmt: skip


def test_the_manifest_keeps_it_as_json_and_gives_it_back(tmp_path):
    mapping = mapping_of(tmp_path, WHOLE)
    assert LogMapping.from_plain(json.loads(json.dumps(mapping.to_plain()))) == mapping
    assert LogMapping.from_plain(LogMapping().to_plain()) == LogMapping()


def test_a_file_is_found_by_its_own_name_before_any_pattern():
    files = [FileMapping(name=name, table="visits") for name in ("*", "calls*.csv", "calls*2024.csv", "calls_a.csv")]
    mapping = LogMapping(files=tuple(files))
    assert mapping.file_for("calls_a.csv").name == "calls_a.csv"
    assert mapping.file_for("Calls_b.CSV").name == "calls*.csv"
    assert mapping.file_for("calls_b_2024.csv").name == "calls*2024.csv"  # the pattern that says most
    assert mapping.file_for("book.xlsx:Sheet1").name == "*"
    assert LogMapping(files=(FileMapping(name="a[1].csv", table=""),)).file_for("a1.csv") is None


def test_spellings_and_words_are_looked_up_whatever_their_case_and_spaces(tmp_path):
    mapping = mapping_of(tmp_path, WHOLE)
    assert mapping.kept("equipment", "building") == {"juniper 03": "Juniper 3", "jun3": "Juniper 3"}
    assert mapping.kept("stock", "location") == mapping.kept("equipment", "building")  # a shelf's place is a building
    assert mapping.kept("visits", "technician") == {}
    assert mapping.meanings("visits", "finding")[plain_written("  Cap   BLEW ")] == "run capacitor"


def test_a_word_may_be_meant_for_one_table_only(tmp_path):
    text = '[[word]]\ncolumn = "{}"\nwritten = "caps"\nmeans = "{}"\n'
    both = mapping_of(tmp_path, text.format("parts_used.component", "run capacitor"))
    assert both.meanings("parts_used", "component") == {"caps": "run capacitor"}
    assert both.meanings("readings", "component") == {}
    sheet = mapping_of(tmp_path, text.format("part_why", "failed"))
    assert sheet.meanings("parts_used", "why") == {"caps": "failed"}


FILE = '[[file]]\nname = "a.csv"\ntable = "visits"\n'
COLUMN = FILE + '[[file.column]]\nheader = "X"\n'
NOTES = COLUMN + 'means = "notes"\n'
OTHER = '[[file.column]]\nheader = "{}"\nmeans = "{}"\n'
ALWAYS = '[[file.always]]\nmeans = "notes"\nvalue = "x"\n'
SAME = '[[same]]\ncolumn = "building"\nkeep = "3"\nwritten = ["03"]\n'
WORD = '[[word]]\ncolumn = "finding"\nwritten = "zap"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[file]]\nname = x", r"map\.toml isn't TOML: .*line 2"),
        ('[[file]]\ntable = "visits"', r"map\.toml file 1: name is missing"),
        (FILE.replace("visits", "visit"), r"file 1 \('a\.csv'\): table = 'visit' is not known; did you mean 'visits'"),
        ('[[file]]\nname = ""\ntable = ""', "name is blank"),
        ('[file]\nname = "a.csv"', r"write \[\[file\]\] with two brackets"),
        (FILE + 'header = 2', "'header' isn't known here; did you mean 'header_record'"),
        (FILE + "header_record = 0", "header_record = 0 must be a whole number, 1 or more"),
        (FILE + "header_record = true", "header_record = True must be a whole number"),
        (FILE + 'dates = "american"', "allowed are \"\", mdy, dmy"),
        (FILE + 'decimal = ","', "decimal = ',' is not known; allowed are"),
        (COLUMN + 'means = "equipmentid"', r"\), column 1 \('X'\): means = 'equipmentid' is no column of visits"),
        (COLUMN + 'means = "equipmentid"', "did you mean 'equipment_id'"),
        (COLUMN, "means is missing"),
        (COLUMN + 'means = "labor_minutes"\nunit = "lb"', "unit = 'lb' doesn't fit labor_minutes; allowed are min, h"),
        (COLUMN + 'means = "notes"\nunit = "h"', "notes has no unit to convert; leave it out"),
        (COLUMN + 'means = "notes"\npart = "time"', "needs a column of date and time; notes is none"),
        (COLUMN + 'means = "notes"\ncolour = 1', "'colour' isn't known here; allowed are"),
        (COLUMN + 'means = ["notes"]', "must be text between quotation marks"),
        (NOTES + OTHER.format("Y", "notes"), "the column 'X' and the column 'Y' both mean notes"),
        (NOTES + OTHER.format("X", ""), "the column 'X' is listed twice"),
        (NOTES + ALWAYS, r"the column 'X' and \[\[file.always\]\] both mean notes"),
        (FILE + '[[file.always]]\nmeans = "property"\nvalue = " "', "value is blank"),
        ('[[file]]\nname = "a"\ntable = ""\n[[file.always]]\nmeans = "property"\nvalue = "x"', "left aside"),
        (FILE + FILE, r"\[\[file\]\] says 'a\.csv' twice"),
        (SAME.replace("building", "bilding"), r"same 1 \('3'\): column = 'bilding' is no column of tags.*'building'"),
        (SAME.replace('"03"', ""), "must both say something"),
        (SAME.replace('"03"', '"03", "03 "'), r"\[\[same\]\] says 'building: 03' twice"),
        (WORD + 'means = "capacitor"', "is no word of finding; did you mean 'run capacitor'"),
        (WORD.replace("finding", "notes") + 'means = "x"', "no column with a short list of words"),
        ('[[words]]\ncolumn = "finding"', "'words' isn't known here; did you mean 'word'"),
        ('file = [3]', "3 stands where a table of keys and values is needed"),
    ],
)  # fmt: skip
def test_a_mistake_is_said_with_its_place_and_what_is_allowed(tmp_path, text, said):
    with pytest.raises(SourceError, match=said):
        mapping_of(tmp_path, text)


def test_numbers_and_yes_or_no_are_taken_as_written(tmp_path):
    text = SAME.replace('"3"', "3").replace('["03"]', '"03"') + FILE + ALWAYS.replace("notes", "after_hours")
    mapping = mapping_of(tmp_path, text.replace('value = "x"', "value = true"))
    assert mapping.same[0] == Same(column="building", keep="3", written=("03",))
    assert mapping.files[0].always[0].value == "yes"


@pytest.mark.parametrize(("said", "code"), [("hours", "h"), ("Hrs", "h"), ("min", ""), ("", "")])
def test_units_are_words_or_codes_and_the_contracts_own_goes_without_saying(tmp_path, said, code):
    mapping = mapping_of(tmp_path, COLUMN + f'means = "labor_minutes"\nunit = "{said}"')
    assert mapping.files[0].columns[0].unit == code


def test_millifarads_are_told_from_the_trades_mf_by_their_letters(tmp_path):
    text = FILE + '[[file.column]]\nheader = "{0}"\nmeans = "herm_found_uf"\nunit = "{0}"\n'
    assert mapping_of(tmp_path, text.format("mF")).files[0].columns[0].unit == "mF"
    assert mapping_of(tmp_path, text.format("MF")).files[0].columns[0].unit == ""


def test_a_file_that_cant_be_read(tmp_path):
    with pytest.raises(SourceError, match=r"the mapping none\.toml can't be read"):
        read_mapping(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"# caf\xe9\n")
    with pytest.raises(SourceError, match=r"latin\.toml isn't UTF-8 text \(byte 6\); save it as UTF-8"):
        read_mapping(tmp_path / "latin.toml")


def test_a_file_saved_by_a_spreadsheet_editor_reads_the_same(tmp_path):
    path = tmp_path / "map.toml"
    path.write_bytes(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode())
    assert read_mapping(path) == mapping_of(tmp_path, WHOLE)
