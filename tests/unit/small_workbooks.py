"""Small workbooks made in a test, by a library or member by member, and what DuckDB reads of a raw table."""

import zipfile

import xlsxwriter
from hypothesis import strategies as st

from fleet.ingest.raw import raw_workbook
from fleet.store.database import Database

HEADER = ["visit_id", "unit", "date"]


def make(path, sheets, **options):
    """Write a workbook; ``sheets`` holds rows by name, or a function that writes a sheet."""
    with xlsxwriter.Workbook(str(path), options) as book:
        for name, content in sheets.items():
            sheet = book.add_worksheet(name)
            if callable(content):
                content(book, sheet)
            else:
                for i, row in enumerate(content):
                    sheet.write_row(i, 0, row)
    return path


def rows_of(raw, folder):
    """Return a raw table's rows as DuckDB reads them: record, then the cells."""
    with Database.scratch(folder) as database:
        n = raw.run(database, lambda relation: f"create table memory.main.t as select * from {relation}")
        rows = database.rows("select record, * exclude (record) from memory.main.t order by record")
    assert n == len(rows)
    assert n + len(raw.set_aside) == raw.n_records
    return rows


def written(folder, path, sheet="S", **options):
    raw = raw_workbook(path.name, path, sheet, scratch=folder / "scratch", **options)
    return raw, rows_of(raw, folder)


NAMESPACE = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def by_hand(path, cells, strings="", *, prolog="", target="worksheets/sheet1.xml", **members):
    """Write a workbook of one sheet S from the XML of its rows; ``members`` replace parts by their last name."""
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {NAMESPACE} xmlns:r="{OFFICE}"><sheets>'
        '<sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/worksheet" Target="{target}"/>'
        f'<Relationship Id="rId2" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f"{prolog}<worksheet {NAMESPACE}><sheetData>{cells}</sheetData></worksheet>",
        "xl/sharedStrings.xml": f"<sst {NAMESPACE}>{strings}</sst>",
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, members.get(name.rpartition("/")[2].partition(".")[0], text))
    return path


texts = st.text(
    alphabet=st.one_of(st.sampled_from('a,"\n\té µ_x0D'), st.characters(codec="utf-8", exclude_categories=("C",))),
    min_size=1, max_size=20,
).filter(lambda text: text.strip())  # fmt: skip
