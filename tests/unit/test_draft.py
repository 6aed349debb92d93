import tomllib

import pytest
from foreign_logs import STYLES, visits
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest.draft import SeenTable, draft_mapping, safe
from fleet.ingest.draft_offers import nearest_word, same_offers, word_offers
from fleet.ingest.guess import guess_files
from fleet.ingest.headers import understand_headers
from fleet.ingest.mapping import LogMapping
from fleet.store.schema import TABLES

COMMAND = "dogdays load calls.csv --mapping map.toml"


def read_back(text):
    return LogMapping.from_plain(tomllib.loads(text))


def seen(name, headers, rows):
    return SeenTable(name=name, headers=headers, rows=rows, n_records=len(rows))


@pytest.mark.parametrize("style", STYLES)
def test_a_draft_used_as_it_stands_reads_every_column_as_guessed(style):
    files = STYLES[style]()
    mapping = read_back(draft_mapping([table for table, _, _ in files], command=COMMAND))
    for guess in guess_files([table for table, _, _ in files]):
        mapped = mapping.file_for(guess.name)
        assert (mapped.table, mapped.header_record or 1) == (guess.table, guess.header_record)
        plan = understand_headers(guess.name, mapped.table, guess.headers, mapped, sample=guess.rows)
        read = {position: column.name for position, column in plan.columns if column.name not in plan.day_from}
        read |= {position: f"{name} time" for name, position in plan.clock.items()}
        assert read == {c.position: f"{c.means} {c.part}".strip() for c in guess.columns if c.means}
        assert dict(plan.units) == {c.means: c.unit for c in guess.columns if c.unit}
        assert [(column.name, value) for column, value in plan.always] == [one[:2] for one in guess.always]


def test_what_a_draft_says_of_a_column():
    twins = "Herm | | herm_found; Herm | | herm_found"
    lines = f"Tag | | unit.tag; Called | | called iso; Labor (hrs) | | minutes hours; {twins}"
    text = draft_mapping([visits("calls.csv", lines)[0]], command=COMMAND)
    assert f"# 3. Load with: {COMMAND}\n" in text
    labor = text[text.index('means = "reported_at"') : text.index('header = "Herm"')]
    assert "# sure: its header is a word for it; its values look like it; converted from h" in labor
    assert "# makes possible: where the money went: labor" in labor
    assert 'header = "Labor (hrs)"\n  means = "labor_minutes"\n  unit = "h"\n' in labor
    assert 'header = "Herm"\n  means = "herm_found_uf"\n  position = 4' in text
    assert "# - bad lots of parts: can't be answered; wants parts_used.component, parts_used.lot" in text


DATES = [["U1", "05/13/2024", "03/04/2024", "cap"], ["U2", "05/14/2024", "03/05/2024", "cap"]] * 3
DATED = ["Tag", "Date called", "Date finished", "Found"]


def test_an_order_of_dates_a_column_doesnt_settle_is_taken_from_the_files_others():
    text = draft_mapping([seen("calls.csv", DATED, DATES)], command=COMMAND)
    columns = {column.header: column for column in read_back(text).files[0].columns}
    assert (columns["Date called"].dates, columns["Date finished"].dates) == ("", "mdy")
    assert "its own values don't settle it; as in the file's other dates" in text


def test_the_order_isnt_taken_over_where_only_a_part_of_the_file_was_seen():
    table = SeenTable(name="calls.csv", headers=DATED, rows=DATES, n_records=90_000)
    file = read_back(draft_mapping([table], command=COMMAND)).files[0]
    assert {column.dates for column in file.columns} == {""}


def test_an_order_of_dates_that_nothing_settles_is_left_to_the_user():
    rows = [["U1", "03/04/2024", "cap"], ["U2", "03/05/2024", "cap"]] * 3
    text = draft_mapping([seen("calls.csv", ["Tag", "Date", "Found"], rows)], command=COMMAND)
    assert "write mdy or dmy here" in text
    assert read_back(text).files[0].columns[1].dates == ""


def test_spellings_that_may_be_one_are_offered_not_applied():
    places = ["Bldg 3", "Bldg 3", "BLDG-03", "4", "04"]
    rows = [[f"U{i}", "2024-05-01", place, "K.B."] for i, place in enumerate(places)]
    table = seen("calls.csv", ["Tag", "Date", "Building", "Tech"], rows)
    offers = same_offers(guess_files([table]))
    assert [(offer.column, offer.keep, offer.written) for offer in offers] == [
        ("building", "Bldg 3", ("BLDG-03",)), ("building", "04", ("4",)),
    ]  # fmt: skip
    text = draft_mapping([table], command=COMMAND)
    assert read_back(text).same == ()
    offered = text[text.index("# [[same]]") : text.index("# Words of the log")]
    for said in ("[[same]]", "column = ", "keep = ", "written = "):
        offered = offered.replace(f"# {said}", said)
    assert [same.keep for same in read_back(offered).same] == ["Bldg 3", "04"]


def test_words_no_list_knows_are_offered_with_what_they_may_mean():
    words = ["cap blew", "cap blew", "contactor", "gremlins", "contactor"]
    table = seen("calls.csv", ["Tag", "Date", "Finding"], [[f"U{i}", "2024-05-01", w] for i, w in enumerate(words)])
    assert [(o.column, o.written, o.times, o.means) for o in word_offers(guess_files([table]))] == [
        ("finding", "cap blew", 2, "run capacitor"), ("finding", "gremlins", 1, ""),
    ]  # fmt: skip
    text = draft_mapping([table], command=COMMAND)
    assert '# written = "cap blew"\n# means = "run capacitor"  # seen 2 times' in text
    assert read_back(text).words == ()


def test_the_nearest_word():
    call_type = TABLES["visits"].column("call_type")
    assert nearest_word(call_type, "no cooling upstairs") == "no cooling"
    assert nearest_word(call_type, "prevntive") == "preventive maintenance"
    assert nearest_word(call_type, "zzz") == ""


def test_a_file_left_aside_is_still_listed():
    text = draft_mapping([seen("menu.csv", ["Dish"], [["soup"]])], command=COMMAND)
    assert "# menu.csv: 1 records, left aside: it is like no table of a log" in text
    file = read_back(text).files[0]
    assert (file.table, [column.header for column in file.columns]) == ("", ["Dish"])


def test_a_place_that_is_the_same_for_all_can_be_written_in():
    text = draft_mapping([visits("calls.csv", "Tag | | unit.tag; Called | | called iso")[0]], command=COMMAND)
    assert '# [[file.always]]\n  # means = "property"' in text


def test_what_cant_be_seen_is_shown_by_its_number():
    assert safe("a\x00b\nc\u2028d") == "a\\u0000b\\nc\\u2028d"
    assert safe("x" * 50) == "x" * 40 + "…"
    assert safe("  50 µF ") == "50 µF"


ODD = [
    "",
    " ",
    '"',
    "'''",
    '"""',
    "\\",
    "a\nb",
    "a\r\nb",
    "\x00",
    "\x7f",
    "\x85",
    "\u2028",
    "😀",
    "#",
    "]]",
    "Tag",
    "Date",
]
TEXT = st.one_of(st.text(max_size=12), st.sampled_from(ODD), st.text(alphabet="xyz", min_size=200, max_size=400))


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_whatever_headers_and_values_are_a_draft_reads_back(data):
    tables = []
    for name in data.draw(st.lists(TEXT.filter(bool), min_size=1, max_size=2, unique=True)):
        headers = data.draw(st.lists(TEXT, min_size=1, max_size=5))
        tables.append(seen(name, headers, data.draw(st.lists(st.lists(TEXT, max_size=6), max_size=5))))
    mapping = read_back(draft_mapping(tables, command=data.draw(TEXT)))
    for guess, file in zip(guess_files(tables), mapping.files, strict=True):
        assert (file.name, file.table) == (guess.name, guess.table)
        filled = [c for c in guess.columns if c.header.strip() or any(cell.strip() for cell in guess.cells(c.position))]
        assert [(c.header, c.means) for c in file.columns] == [(c.header, c.means) for c in filled]
        if file.table and not guess.missing:
            plan = understand_headers(file.name, file.table, guess.headers, file)
            assert {column.name for _, column in plan.columns} >= {c.means for c in filled if c.means and not c.part}
