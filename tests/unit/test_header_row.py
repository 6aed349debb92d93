import pytest

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import look_at_csv
from fleet.ingest.header_row import MOST_ROWS, chosen_record, csv_header, find_header, names_a_table

HEADER = ["visit_id", "unit", "date reported", "notes"]


@pytest.mark.parametrize(
    ("rows", "place"),
    [
        ([HEADER, ["V1", "U1", "2024-06-01", "x"]], 0),
        ([["Cooling calls 2024"], [], ["Exported on 2024-12-01", "by", "desk"], HEADER, ["V1", "U1", "x", "y"]], 3),
        ([["", "unit", "", ""], HEADER], 1),
        ([["group", "", "times", ""], HEADER, HEADER], 1),
        # fuller rows don't count where the words are known
        ([["a", "b", "c", "d", "e", "f"], HEADER], 1),
        # nobody knows the words: the first row about as full as the others
        ([["Ref", "Kennung", "Tag"], ["1", "U1", "2024-06-01"]], 0),
        ([["Calls"], ["", "", ""], ["Ref", "Kennung", "Tag"], ["1", "", "2024-06-01"]], 2),
        ([["sep=;", ""], ["x"], ["1"]], 1),
        ([["Ref"], ["1"]], 0),
        ([["Ref", "", ""], ["1", "", ""]], 0),
        ([], 0),
        ([[], ["", " "]], 0),
    ],
)
def test_the_header_is_the_first_row_of_known_words_else_of_many_cells(rows, place):
    assert find_header(rows) == place


def test_the_callers_own_words_decide():
    rows = [HEADER, ["Ref", "Kennung", "Tag"], ["1", "U1", "2024-06-01"]]
    assert find_header(rows, looks_like_header=lambda row: "Kennung" in row) == 1


def test_a_header_far_below_isnt_looked_for():
    rows = [["Ref", "Kennung"]] * MOST_ROWS + [HEADER]
    assert find_header(rows) == 0
    assert find_header(rows[1:]) == MOST_ROWS - 1


def test_a_row_names_a_table_by_its_needed_columns():
    assert names_a_table(HEADER)
    assert not names_a_table(["notes", "technician"])


def test_a_record_said_to_be_the_header_is_taken_or_refused():
    assert chosen_record("a.csv", None, 3) is None
    assert chosen_record("a.csv", 3, 3) == 3
    assert chosen_record("a.xlsx:B", {"a.xlsx:B": 2}.get, 3) == 2
    for said in (0, 4):
        with pytest.raises(SourceError, match=rf"record {said} is said to hold the headers, but the file has 3"):
            chosen_record("a.csv", said, 3)


def header_of(tmp_path, content, **options):
    (tmp_path / "a.csv").write_text(content, encoding="utf-8", newline="")
    facts = look_at_csv("a.csv", tmp_path / "a.csv")
    facts, record, names = csv_header("a.csv", tmp_path / "a.csv", facts, **options)
    return facts.delimiter, record, names


def test_a_csv_files_header_is_found_below_titles_and_empty_lines(tmp_path):
    content = '\n"Calls, 2024"\n\nvisit_id, unit ,"date\nreported"\nV1,U1,2024-06-01\n'
    assert header_of(tmp_path, content) == (",", 4, ("visit_id", "unit", "date\nreported"))


def test_the_delimiter_that_gives_known_words_is_taken(tmp_path):
    # ragged records, and a semicolon in every note: by widths alone the semicolon would win
    rows = "".join(f"V{i},U1,2024-06-01,a; b{',' * (i % 7)}\n" for i in range(20))
    content = ",".join(HEADER) + "\n" + rows
    (tmp_path / "a.csv").write_text(content)
    assert look_at_csv("a.csv", tmp_path / "a.csv").delimiter == ";"
    assert header_of(tmp_path, content) == (",", 1, tuple(HEADER))


def test_a_header_nobody_knows_keeps_the_guessed_delimiter(tmp_path):
    assert header_of(tmp_path, "Ref;Kennung\n1;U1\n") == (";", 1, ("Ref", "Kennung"))


def test_what_was_said_wins(tmp_path):
    content = "visit_id,unit,date\nRef,Kennung,Tag\n1,U1,2024-06-01\n"
    assert header_of(tmp_path, content, header_record=2) == (",", 2, ("Ref", "Kennung", "Tag"))
    far = "x\n" * 50 + "Ref,Kennung,Tag\n"
    assert header_of(tmp_path, far, header_record=lambda name: 51 if name == "a.csv" else None)[1] == 51
    with pytest.raises(SourceError, match="record 9 is said to hold the headers, but the file has 3 in all"):
        header_of(tmp_path, content, header_record=9)


def test_a_header_that_cant_be_split_is_refused(tmp_path):
    with pytest.raises(SourceError, match=r"a\.csv: the header line can't be split \(quote not closed\)"):
        header_of(tmp_path, 'Ref,"Kennung,Tag\n1,U1,x\n')
    with pytest.raises(SourceError, match=r"can't be split \(quote misplaced\)"):
        header_of(tmp_path, 'a,b\nRef,"Kennung"s,Tag\n', header_record=2)
    # a title that can't be split does no harm above a header that can
    assert header_of(tmp_path, f'"Calls" 2024\n{",".join(HEADER)}\nV1,U1,x,y\n')[1] == 2
