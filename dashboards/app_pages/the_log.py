"""The log: what was loaded, what was refused, and why?"""

from __future__ import annotations

from dashboards import data, layout
from fleet.present.sentences import load_sentence
from fleet.present.summaries import notices_table, reasons_table

report = data.load_report()

layout.title("The log")
layout.say(
    load_sentence(report.total("records"), report.n_quarantined, report.total("duplicate"), report.total("blank"))
)
layout.tell("Nothing is thrown away: every record is clean, refused, a duplicate or blank, and its text is kept.")

layout.part("File by file")
layout.frame(report.to_frame())

layout.part("Why records were set aside")
layout.frame(reasons_table(report))
layout.download(data.refused(), "Download the refused records", "refused.csv")

layout.part("What was changed or flagged on the way in")
layout.frame(notices_table(report))
layout.download(data.changed(), "Download the changed records", "changed.csv")

if report.remarks:
    layout.part("What was decided while reading")
    layout.bullets(report.remarks)
