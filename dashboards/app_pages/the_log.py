"""The log: what was loaded, what was refused, and why? What can't it answer, for want of which column?"""

from __future__ import annotations

from dashboards import data, layout
from fleet.present.sentences import load_sentence
from fleet.present.summaries import loaded_files, missing_table, notices_table, reasons_table

report = data.load_report()

layout.title("The log")
layout.say(
    load_sentence(report.total("records"), report.n_quarantined, report.total("duplicate"), report.total("blank"))
)
layout.tell("Nothing is thrown away: every record is clean, refused, a duplicate or blank, and its text is kept.")

layout.part("File by file")
layout.frame(report.to_frame().rename(columns={"quarantined": "refused"}))

layout.part("Why records were set aside")
layout.frame(reasons_table(report).replace({"standing": {"quarantined": "refused"}}))
if report.n_quarantined:
    layout.tell(
        "The refused records come as a file that can be corrected in a spreadsheet and loaded again: "
        "change what is wrong, leave the first columns as they are, and load it like any other log."
    )
    layout.download_later(data.refused_file, "Download the refused records", "refused.csv")

layout.part("What was changed or flagged on the way in")
layout.frame(notices_table(report))
layout.download_later(data.changed_file, "Download the changed records", "changed.csv")

if report.missing:
    layout.part("What this log can't answer in full")
    layout.frame(missing_table(report))

if report.remarks:
    layout.part("What was decided while reading")
    layout.bullets(report.remarks)

layout.part("What was loaded, and when")
layout.frame(loaded_files(data.loads()))
