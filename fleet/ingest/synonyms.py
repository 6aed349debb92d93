"""Other words people write over a column, table by table.

A header is taken apart into words (``fleet.ingest.guess_names``): case, spaces, punctuation and the order of words
don't matter, ``fleet.ingest.header_spellings`` makes one of many spellings, and ``no`` stands for #, No., Nbr, number and ID. So one entry
here covers many headers; an entry must be unambiguous within its table (a visits file's own and its sheet columns
together), which a test holds. Source of the words: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fleet.ingest.header_spellings import phrases

_VISIT_NO = phrases(
    """
    visit; visit no; call no; ticket; ticket no; job; job no; work order; work order no; service order; service order
    no; order no; service ticket; service call no; service no; dispatch no; dispatch; request no; case no; case; folio; reference; reference
    no; incident no; service request; request ticket; trip no
    """
)
_TAG = phrases(
    """
    unit; unit no; unit tag; tag; tag no; unit tag no; equipment; equipment tag; condenser; condenser no; condenser
    tag; condenser unit; condenser unit no; condenser unit tag; ac unit tag; asset; asset tag; asset no; ac; ac no; ac unit; ac unit no; ac tag; ac tag
    no; outdoor unit; outdoor unit no; odu; odu no; system no; machine; machine no; hvac no; hvac unit; hvac unit no;
    air conditioner; air conditioner no; unit label; unit name; equipment tag no; which unit; unit code; equipment
    code; ac code; cu; cu no; cu tag; stencil; sticker; sticker no; barcode; ac label; location tag
    """
)
_PART_NO = phrases(
    """
    part; part no; sku; item; item no; part code; stock no; part used; part model; article no; item code
    """
)
_COMPLEX = phrases(
    """
    complex; community; site; property name; property code; complex name; community name; site name; site code; estate
    """
)
_BUILDING = phrases("building no; building name; block; tower; building code; block no")

SYNONYMS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "equipment": {
            "equipment_id": (*_TAG, "id", "system"),
            "property": _COMPLEX,
            "building": _BUILDING,
            "apartment": ("apartment no", "flat", "flat no", "home", "dwelling", "door", "door no", "serves", "suite", "suite no", "apartment served", "serves apartment", "residence", "home no", "room no", "apartment unit"),
            "model": ("model no", "model code", "unit model", "condenser model"),
            "model_family": ("family", "model line", "series", "model series", "product family", "line", "model group", "unit family", "product line"),
            "compressor_type": ("compressor", "comp type", "type of compressor", "comp", "compressor kind", "compressor style", "unit compressor type", "compressor tech"),
            "tons": ("size tons", "capacity tons", "nominal tons", "capacity", "size", "nominal capacity", "cooling capacity", "unit size", "capacity size"),
            "refrigerant": ("refrigerant type", "ref type", "refrigerant kind"),
            "charge_oz": ("charge", "factory charge", "factory charge oz", "charge oz", "refrigerant charge", "plate charge", "charge weight", "system charge"),
            "installed_on": ("install", "install date", "in service date", "in service", "in service since", "service start", "start up date", "startup date", "commissioned", "commission date", "date commissioned", "put in", "year install", "put in service"),
            "retired_on": ("retire", "retire date", "remove", "remove date", "out service", "out service date", "decommissioned", "date decommissioned", "scrapped", "taken out", "pulled date"),
            "herm_uf": ("herm", "herm mfd", "run capacitor herm", "rated herm", "rated herm uf", "run capacitor", "capacitor rated", "capacitor", "run capacitor uf", "capacitor uf", "capacitor size", "dual capacitor", "capacitor herm", "compressor capacitor", "run capacitor rated", "run capacitor size", "compressor uf", "rated compressor uf"),
            "fan_uf": ("fan", "fan mfd", "run capacitor fan", "rated fan", "rated fan uf", "fan capacitor", "fan capacitor size"),
            "tolerance_pct": ("tolerance", "capacitor tolerance", "tolerance percent", "tol", "tol pct", "capacitor tol", "percent tol"),
            "start_uf_min": ("start min", "start capacitor min", "start low", "start capacitor", "start capacitor low", "hard start capacitor", "start capacitor uf", "start kit", "start range", "start uf", "start capacitor range", "hard start", "hard start uf"),
            "start_uf_max": ("start high", "start capacitor high"),
            "priority_home": ("priority", "heat risk", "priority resident", "priority apartment", "heat sensitive", "medical", "medical need", "at risk", "vulnerable", "at risk home"),
            "warranty_until": ("warranty", "warranty end", "warranty expires", "part warranty until", "warranty exp", "warranty expiration", "warranty date", "warranty end date", "warranty thru", "warranty through", "warranty expiration date", "part warranty", "warranty to"),
        },
        "visits": {
            "visit_id": (*_VISIT_NO, "id"),
            "equipment_id": _TAG,
            "reported_at": ("reported", "reported by date", "reported date", "reported time", "reported date time", "called", "called in", "call date", "call time", "call date time", "date called", "time called", "date", "visit date", "call receive", "receive", "receive date", "receive time", "date in", "date time", "datetime", "timestamp", "when", "when called", "when reported", "day", "time", "request date", "request time", "request", "service date", "service time", "job date", "job time", "work date", "ticket date", "work order date", "complaint date", "complaint time", "open", "open date", "open time", "create", "create date", "create time", "call in date", "call in time", "call logged", "service call date", "incident date", "called in date", "call placed", "date worked", "visit time", "call open", "call came in", "called in time", "order date", "trouble date", "problem date", "report taken", "submitted", "submitted date", "notified", "intake", "intake date", "log date", "logged in", "date time called", "call start"),
            "arrived_at": ("arrive", "arrive date", "arrive time", "arrive date time", "on site", "on site time", "on site date", "start", "start time", "start date", "start date time", "time in", "check in", "check in time", "begin", "begin time", "began", "work start", "work start time", "clock in", "tech arrive", "got there", "get there", "when got there", "job start", "technician in", "punch in"),
            "finished_at": ("finished", "finished date", "finished time", "finish", "finish time", "finish date", "complete", "complete date", "complete time", "complete date time", "done at", "done date", "done time", "end", "end time", "end date", "ended", "end date time", "time out", "check out", "check out time", "clock out", "close date", "close time", "close", "date out", "depart", "depart time", "depart date", "resolved date", "resolved time", "fixed date", "fixed at", "restored time", "work end", "job end", "work end time", "work finished", "job complete", "call close", "time left", "punch out", "left site", "cleared", "clear time", "wrap up", "job done", "left job", "off site", "close out", "close out date", "signed off", "restored"),
            "recorded_at": ("recorded", "recorded date", "entered", "entered date", "entered time", "entry date", "entry time", "written", "logged date", "logged", "logged time", "posted", "posted date", "keyed", "keyed date", "date typed", "typed", "paperwork date", "written up", "entry date time", "data entry date", "system date", "capture date"),
            "call_type": ("type", "call", "complaint", "reason", "problem", "call reason", "visit type", "job type", "work type", "service type", "type call", "nature call", "nature", "issue", "issue reported", "problem reported", "symptom", "request type", "trouble", "complaint code", "call code", "resident complaint", "why called", "complaint type", "work order type", "ticket type", "problem type", "issue type", "call category", "category", "trouble reported", "reason visit", "kind of call", "service code", "what wrong reported", "reason code", "purpose", "visit purpose", "job code", "trouble call", "call class", "job class", "trouble type", "what they reported", "problem category", "complaint category", "issue category", "resident said", "what resident said", "reason call made"),
            "after_hours": ("after hours call", "night", "night weekend", "overtime", "emergency", "off hours", "night call", "outside hours", "on call", "after hours yn", "overtime yn", "after hours flag", "emergency call", "night or weekend", "overtime call", "out of hours", "after work hours", "after 5", "after hours visit", "premium time", "off shift", "night work"),
            "technician": ("technician name", "technician initials", "technician no", "technician code", "initials", "done by", "worked by", "performed by", "complete by", "assigned to", "assigned", "assigned technician", "serviced by", "who", "who went", "employee", "employee name", "worker", "maintenance technician", "service technician", "staff", "repaired by", "attended by", "handyman", "lead technician", "hvac technician", "fixed by", "crew", "our technician", "maint", "responder", "engineer", "serviceman", "worked on by", "personnel", "repairman", "done by technician", "technician call"),
            "vendor": ("contractor", "outside firm", "company", "sub", "subcontractor", "outside vendor", "outside company", "service company", "firm", "vendor name", "contractor name", "outsourced to", "outside contractor", "vendor used", "hvac contractor", "outside service", "company used"),
            "finding": ("found", "cause", "diagnosis", "fault", "failed component", "what failed", "failed part", "component", "problem found", "issue found", "trouble found", "finding code", "failure", "failure code", "what wrong", "what was at fault", "bad part", "failed item", "defect", "root cause", "cause code", "cause failure", "faulty part", "fault found", "fault code", "bad component", "diagnosis code", "defective part", "what we found", "technician finding", "part at fault", "faulty component", "cause of problem", "failed", "found bad", "defective component", "culprit", "what had failed", "component fault", "cause trouble"),
            "outcome": ("result", "status", "disposition", "how left", "final status", "job status", "call status", "work order status", "ticket status", "complete status", "left as", "condition left", "result code", "status code", "end result", "job result", "visit result", "status after", "outcome code", "visit outcome", "how did it end", "resolution", "final result", "status when left", "closing status", "complete code", "job outcome", "end status", "resolution code"),
            "labor_minutes": ("minutes", "labor min", "time min", "minutes worked", "labor time", "time spent", "duration", "time on job", "work time", "man minutes", "job time min", "work min", "labor duration", "duration min", "min on site", "job min", "technician min", "min spent", "total min", "min on job", "elapsed min", "technician time min", "time worked", "billed min", "job duration", "site min", "labor worked min", "total labor min", "visit min", "visit duration", "regular min", "time taken", "how long", "how long take", "time used", "length", "actual min", "how many min", "how many min take"),
            "labor_cost": ("labor", "labor usd", "labor amount", "labor charge", "labor total", "labor price", "labor fee", "total labor cost", "technician cost", "labor billed", "labor paid", "labor pay", "labor bill"),
            "refrigerant_cost": ("refrigerant usd", "refrigerant price", "refrigerant amount cost", "refrigerant charge cost", "refrigerant expense"),
            "other_cost": ("other", "misc cost", "trip charge", "misc", "other charge", "misc charge", "trip cost", "trip fee", "travel cost", "travel charge", "travel fee", "travel", "trip", "other fee", "other amount", "other expense", "misc expense", "other dollars", "misc amount", "fee"),
            "refrigerant_added_oz": ("refrigerant added", "oz added", "refrigerant oz", "refrigerant used", "refrigerant amount", "refrigerant quantity", "added charge", "refrigerant charged", "charge added oz", "refrigerant used oz", "oz refrigerant added", "refrigerant put in", "refrigerant weight", "oz charged", "topped off", "oz", "refrigerant added amount", "refrigerant topped off", "oz used", "charged", "topped up", "put in oz"),
            "indoor_f": ("indoor temperature", "indoor", "room temperature", "indoor temperature f", "space temperature", "apartment temperature", "temperature found", "temperature indoor found", "temperature on arrive", "home temperature", "arrive temperature", "room f", "temperature f", "temperature", "indoor temperature arrive", "indoor degrees", "stat reads", "temperature in apartment", "how hot inside", "ins temperature", "how hot", "thermostat reading"),
            "notes": ("note", "comment", "remark", "description", "technician note", "memo", "details", "detail", "narrative", "work performed", "work done", "action taken", "actions", "action", "work description", "job note", "service note", "what was done", "technician comment", "work note", "repair note", "visit note", "free text", "repair made", "note remark", "repair description", "service performed", "corrective action", "what we did", "repair", "call note", "text", "general note", "technician remark", "repair done", "work completed", "additional note", "note field", "comment field", "repair performed", "job description", "service description"),
        },
        "readings": {
            "visit_id": _VISIT_NO,
            "component": ("section", "terminal", "side", "capacitor section", "capacitor side", "capacitor terminal", "terminals", "capacitor", "which side", "which section", "winding", "leg", "which capacitor"),
            "stage": ("when", "as found as left", "state", "before after", "found or left", "when taken", "before or after", "timing", "reading stage", "reading type", "found left new"),
            "value": ("reading", "measure", "measure value", "uf", "capacitance", "reading uf", "measure uf", "value uf", "reading value", "actual", "actual uf", "capacitor reading", "meter reading", "result", "tested uf", "capacitance uf", "test value", "measure capacitance", "test reading"),
            "unit": ("unit of measure", "uom"),
            "method": ("how", "test method", "how measured", "measure method", "test type", "how tested", "test"),
            "volts": ("voltage", "v", "vac", "volt", "volts ac", "measure volts"),
            "amps": ("current", "a", "amperes", "amp", "ampere", "measure amps"),
            "hertz": ("hz", "frequency", "line frequency"),
            "meter": ("meter no", "instrument", "instrument no", "meter used", "meter name", "dmm", "which meter", "tester", "instrument used", "meter tag", "multimeter"),
        },
        "parts_used": {
            "visit_id": _VISIT_NO,
            "part_no": _PART_NO,
            "component": ("what", "category", "part type", "kind", "part category", "description", "part description", "item description", "part name", "type", "part kind", "item name", "class", "what part", "part class", "item type", "part group"),
            "quantity": ("count", "pieces", "pcs", "quantity used", "no used", "quantity part", "pieces used", "used", "quantity fitted", "how many", "units used", "ea", "number fitted", "count used"),
            "unit_cost": ("cost", "price", "unit price", "each", "cost each", "price each", "cost per unit", "part cost", "part price", "price per unit", "piece price", "cost piece", "cost ea", "price ea", "per piece", "cost per each", "part cost each"),
            "why": ("reason", "why changed", "cause", "why replaced", "reason replaced", "reason changed", "why fitted", "change reason", "reason code", "replaced because", "why used", "reason used"),
            "warranty": ("under warranty", "warranty claim", "warranty yn", "warranty part", "in warranty", "covered warranty", "warranty replacement"),
            "credit": ("credit amount", "refund", "money back", "warranty credit", "core credit", "credit received", "amount credited", "credited"),
            "lot": ("date code", "lot code", "lot no", "batch", "batch no", "batch code", "mfg date code", "lot date code", "lot batch", "manufacture code"),
            "taken_from": ("from", "shelf", "source", "location", "from shelf", "taken", "pulled from", "stock location", "shelf taken from", "where from", "out of", "drawn from", "storage", "supplied from", "shelf location", "bin"),
        },
        "catalogue": {
            "part_no": tuple(word for word in _PART_NO if word != "part used"),
            "component": ("what", "category", "part type", "kind", "part category", "description", "part description", "item description", "part name", "type", "item name", "class", "part kind", "item type", "part class", "product", "product group", "group", "part group"),
            "herm_uf": ("herm", "herm mfd", "capacitor", "rated", "uf", "herm rated", "run uf", "uf rated", "capacitor uf", "size uf", "capacitor rated", "run capacitor", "compressor uf", "capacitance"),
            "fan_uf": ("fan", "fan mfd", "fan rated"),
            "volts": ("voltage", "v", "vac", "volt", "volts ac", "volt rated"),
            "start_uf_min": ("start min", "start low", "start capacitor", "start uf", "start range", "start capacitor min", "start kit uf", "start capacitor low", "start capacitor range"),
            "start_uf_max": ("start high", "start capacitor high"),
            "tons": ("capacity tons", "size tons", "capacity", "unit tons"),
            "unit_cost": ("cost", "price", "unit price", "each", "cost each", "price each", "list price", "price ea", "cost ea", "net price", "piece price", "current price", "cost per unit", "price per unit", "net cost"),
            "lead_time_days": ("lead time", "lead days", "days to deliver", "deliver days", "lead", "days to get", "delivery days", "delivery time", "delivery", "lead time days", "ship days", "wait days", "days out", "eta days", "transit days"),
            "pack_size": ("pack", "per pack", "pack quantity", "box of", "case quantity", "box quantity", "package quantity", "pieces per pack", "per box", "min order quantity", "order multiple", "per case", "sold in", "quantity per pack", "quantity per box", "pieces per box", "box size", "case size", "case pack"),
            "shelf_life_months": ("shelf life", "shelf months", "shelf life time", "good for", "storage life", "expires after", "keeps"),
            "fits": ("fits families", "families", "fits model families", "for", "fits model family", "model families", "fits model", "compatible", "compatible with", "used on", "fits units", "for model", "applies to", "fit", "application", "family", "goes on", "works with", "models fit", "used in", "model family"),
        },
        "stock": {
            "property": _COMPLEX,
            "location": ("shelf", "where", "building", "cage", "bin", "stored", "storage", "stock location", "shelf location", "where kept", "store", "warehouse", "van", "storeroom", "room", "kept at", "building no", "storage location", "place", "closet"),
            "part_no": tuple(word for word in _PART_NO if word not in ("stock no", "part used")),
            "on_hand": ("quantity", "count", "stock", "on shelf", "have", "quantity on hand", "in stock", "counted", "available", "quantity available", "current stock", "stock quantity", "pieces", "pcs", "how many", "current quantity", "quantity counted", "count today", "stock on hand", "qoh", "on shelf now", "inventory count"),
            "on_order": ("ordered", "coming", "quantity on order", "quantity ordered", "incoming", "backorder", "on the way", "back ordered", "due in", "on po", "po quantity", "ordered not received"),
        },
        "weather": {
            "property": (*_COMPLEX, "station", "station name", "station no"),
            "date": ("day", "date time", "observation date", "obs date"),
            "high_f": ("high", "max f", "tmax", "temperature max", "tmax f", "daily high", "high temperature f", "day high", "hottest"),
            "low_f": ("low", "min f", "tmin", "temperature min", "low temperature", "tmin f", "min", "daily low", "daily min", "low temperature f", "min temperature f", "night low", "coolest", "low of day"),
            "high_c": ("max c", "tmax c", "high temperature c"),
            "low_c": ("min c", "tmin c", "low temperature c", "min temperature c"),
        },
        "coverage": {
            "property": _COMPLEX,
            "from_date": ("from", "start", "start date", "first day", "begin", "begin date", "log start", "covered from", "since", "log from", "date from", "kept from", "first date"),
            "to_date": ("to", "end", "end date", "last day", "until", "through", "thru", "log end", "covered to", "log to", "date to", "kept to", "last date", "kept until", "covered until"),
        },
        "properties": {
            "property": (*_COMPLEX, "name"),
            "hours_from": ("from", "opens", "work starts", "day starts", "open", "open time", "office open", "work hours from", "start", "start time", "shop opens", "hours start", "hours open", "opening time", "open from"),
            "hours_to": ("to", "closes", "work ends", "day ends", "close", "close time", "office close", "work hours to", "end", "end time", "shop closes", "hours end", "hours close", "work end", "open to", "open until"),
            "workdays": ("days", "work days", "working days", "business days", "days open", "days worked", "week days"),
            "currency": ("money", "currency code"),
        },
        "buildings": {
            "property": _COMPLEX,
            "building": (*_BUILDING, "name"),
            "walk_order": ("order", "walking order", "walk", "sequence", "walk sequence", "route order", "stop", "walk no", "order walk", "route", "route stop", "seq", "position", "stop no"),
            "x": ("east", "easting", "x coordinate", "x position", "map x", "walk x"),
            "y": ("north", "northing", "y coordinate", "y position", "map y", "walk y"),
            "has_shelf": ("shelf", "cage", "has cage", "part shelf", "shelf yn", "part cage", "has part shelf", "storage", "has storage", "part closet", "stock shelf", "keeps part"),
        },
        "occupancy": {
            "equipment_id": _TAG,
            "vacant_from": ("from", "empty from", "vacant", "moved out", "move out", "move out date", "vacant since", "vacant date", "empty since", "vacancy start", "vacated", "date vacated", "start", "start date", "vacant start", "vacate date", "moved out date", "empty", "out date"),
            "vacant_to": ("to", "empty to", "until", "moved in", "move in", "move in date", "vacancy end", "occupied", "occupied date", "end", "end date", "occupied from", "vacant until", "empty until", "vacant end", "moved in date", "new lease", "in date"),
        },
    }
)  # fmt: skip

_EQUIPMENT_ONLY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "compressor_type": ("compressor", "comp"), "refrigerant": (), "charge_oz": ("charge",), "tons": ("size", "capacity"),
        "installed_on": ("install", "in service", "service start", "put in"), "warranty_until": ("warranty", "part warranty"),
        "retired_on": ("remove", "retire", "remove date", "taken out", "pulled date", "out service"),
        "priority_home": ("priority",), "apartment": ("serves",), "model_family": ("line",),
    }
)  # fmt: skip
"""Words that say enough in an equipment list but could mean something else in a sheet of visits."""

_SECTIONS = {
    "herm": phrases(
        "herm; capacitor herm; h; capacitor h; compressor side; run capacitor herm; compressor; capacitor; uf"
    ),
    "fan": ("fan", "capacitor fan", "f", "capacitor f", "fan side", "run capacitor fan"),
    "start": ("start", "start capacitor", "s", "hard start", "start kit"),
}
_STAGES = {
    "found": phrases("found; reading; measure; before; actual; tested; old; read; in; before repair; arrive"),
    "left": ("left", "after", "final", "after repair"),
    "new": ("new", "new part", "replaced with"),
}

_OTHERWISE = {("h", "in"), ("f", "in"), ("s", "in"), ("start", "in"), ("start", "arrive"), ("h", "after")}
"""What would also be "start in", "after hours"."""

SHEET_SYNONYMS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        **{
            name: tuple(word for word in words if word not in _EQUIPMENT_ONLY.get(name, ()))
            for name, words in SYNONYMS["equipment"].items()
            if name not in ("equipment_id", "herm_uf", "fan_uf", "start_uf_min", "start_uf_max")
        },
        "herm_uf": ("rated herm", "rated h", "rated herm uf", "herm mfd", "capacitor rated", "run capacitor herm", "capacitor size", "run capacitor rated", "run capacitor size"),
        "fan_uf": ("rated fan", "rated fan uf", "fan mfd", "run capacitor fan", "fan capacitor size", "rated f"),
        "start_uf_min": ("start min", "start capacitor min", "start low", "rated start"),
        "start_uf_max": ("start max", "start capacitor max"),
        **{
            f"{section}_{stage}_uf": tuple(
                f"{word} {said}"
                for word in words
                for said in stages
                if (word, said) not in _OTHERWISE
            )
            for section, words in _SECTIONS.items()
            for stage, stages in _STAGES.items()
        },
        "part_no": ("part", "part no", "sku", "part used", "part code", "item no", "part fitted", "part installed", "part replaced", "item used", "part changed", "stock no", "part model", "part put in"),
        "part_quantity": ("part quantity", "quantity", "pcs", "pieces", "quantity used", "how many", "part count", "count"),
        "part_cost": ("unit cost", "part price", "cost each", "part cost each", "price each", "part usd", "unit price", "price", "part amount", "part charge", "price ea", "cost ea", "each", "part price each"),
        "part_why": ("why", "why changed", "part reason", "why replaced", "reason replaced", "why part changed", "reason changed", "change reason", "replaced because"),
        "part_lot": ("lot", "date code", "lot code", "lot no", "batch", "part date code", "batch no", "part batch"),
        "part_component": ("part type", "part category", "part name", "part description", "part kind", "what part"),
        "meter": ("meter no", "instrument", "meter used", "which meter", "meter name", "dmm", "multimeter", "instrument used", "tester"),
    }
)  # fmt: skip
"""Further columns of a single visits sheet."""

YIELDS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "visits": {
            "apartment": ("unit", "unit no", "unit name", "which unit"),
            "labor_minutes": ("time on site", "labor"),
            "arrived_at": ("service date", "visit date", "job date", "work date", "date worked", "service time", "visit time", "job time"),
            "finding": ("repair", "repair made", "repair done", "what was done", "work performed", "work done", "action taken", "action", "corrective action", "result"),
            "part_component": ("part", "part used", "part fitted", "part install", "part replaced", "part changed", "item used", "part put in", "component", "failed part", "bad part"),
            "outcome": ("action", "action taken", "work done", "repair"),
            "vendor": ("who", "done by", "performed by", "serviced by"),
            "notes": ("complaint", "problem", "issue", "symptom", "reported problem", "reason", "cause", "diagnosis", "status", "resident complaint", "failure"),
        },
        "equipment": {"apartment": ("unit", "unit no", "unit name")},
    }
)  # fmt: skip
"""What a word means where its first meaning is taken by a better one: "Unit" beside "AC tag" is the apartment."""
