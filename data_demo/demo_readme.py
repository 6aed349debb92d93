"""Writes the demo's README.md from the answer key, so that its numbers can't drift from the data."""

from __future__ import annotations

from typing import Any

INTRO = """# The demo log

*Written by `make_demo.py`; change it there.*

An invented management company looks after two invented apartment complexes in a place with hot summers: **Quernstone
Court** (12 buildings) and **Tansyfield Commons** (8 buildings), {units} small split air conditioners in all. Five
in-house technicians and one outside firm keep them running and write down what they do, when they can. From the first
days of 2020 the office kept a log; this folder is six years of it, {visits:,} visits, with the equipment list, the
readings, the parts, the shelves as they stood in March 2026, and the weather since 2010. Some units had been running
for fifteen years when the log began, and nothing is known about the parts changed in them before.

Every person, place, model, part number, firm and price is invented. The numbers that set the invented world (how fast
parts wear, what calls cost) are the authors' choice, not published values: the log shows what the tool does, and says
nothing about real equipment. The data is drawn from one seed and always comes out the same; of 150 seeds tried it is the
one where what happened by chance lies closest to what was planted, so other fleets are less clear-cut than this one.

## Make it again

```
python data_demo/make_demo.py                     # writes this folder's CSV files, answer_key.json and this text
python data_demo/make_demo.py --out FOLDER        # the same somewhere else
python data_demo/make_demo.py --sqlite FILE       # the same log as one SQLite file
```

It needs numpy only, and takes some ten seconds.

## Files

| file | records | clean | quarantined | duplicate | blank |
| --- | --- | --- | --- | --- | --- |
{files}

A record is one row under the header, however many lines a quoted note fills; the header is record 1 in the lists below.
`visits_2020.csv` to `visits_2025.csv` are one table. Dates are ISO, but `occupancy.csv` has month/day/year.
`answer_key.json` holds everything below for programs.
"""  # noqa: E501 (placeholders are longer than what replaces them)

STORY = """
## Answer key: what was planted

**How parts age.** A part's age counts in heat-years: one heat-year is a year of average heat in an occupied home, so
parts age little in winter and in vacant homes, and fast in a hot July. Hazards are Weibull in that age. A factor makes
a part age that much faster, which in the long run multiplies its rate. Run capacitors also drift: each section starts at
about {start_mean} % ± {start_sd} % of its rating and loses {slope} % a heat-year on average (lognormal, coefficient of
variation {slope_cv}); below {knee} % the hazard of the whole part grows by exp({per_pct}) for every further percent.

| component | shape | scale (heat-years) | share that follows heat | spring start-up bump | true failures in the log's years |
| --- | --- | --- | --- | --- | --- |
{components}

"True failures" are what happened in the invented world in {unit_years:,} unit-years, {failures_all:,} in all. They count a
fault once however often somebody came for it; failures and unit-years leave out the gap in the log (below).

**1. A bad model family** (`rates --by model_family`). Family **{family}**, {family_units} units: its run capacitors and
contactors age {family_factors} times as fast; its rates come out about 2.5 times everyone else's.

| component | failures in {family} | elsewhere | rate ratio |
| --- | --- | --- | --- |
{family_rows}

over {family_years} unit-years in the family and {other_years:,} elsewhere.

**2. A bad lot of capacitors** (`repeats`, lots). Lot **{lot}** of part **{lot_part}**, handed out {lot_from} to {lot_to}:
{lot_fitted} fitted ({lot_written} with the lot written down), hazard {lot_factor} times in the first {lot_months} months.
{lot_failed} of them failed in those months; of {lot_others} capacitors from all other lots {lot_others_failed} did. Part of the
lot went in during a preventive campaign in spring 2022 ({campaign} spring rounds, `why` preventive).

**3. A spell of bad voltage** (`repeats`, clusters). {spell_place}, building {spell_building} ({spell_units} units),
{spell_from} to {spell_to}: {spell_count} contactors failed ({spell_extra} of them planned).

| reported | unit |
| --- | --- |
{spell_rows}

**4. Units that keep failing** (`repeats`, units). Every part of these ages faster, in the years before the log too. The
ratio is to the rate of all other units ({lemon_rest} failures per unit-year); with so few years it strays from the factor.

| unit | factor | failures in six years | ratio |
| --- | --- | --- | --- |
{lemon_rows}

**5. A meter that reads low** (`meters`). Everyone mostly carries one meter, and takes another nearly half the time.
Each reading has noise of {noise} % (clamp readings on a running unit 2.2 %).

| meter | true bias, % | against the plain mean of the meters, % |
| --- | --- | --- |
{meter_rows}

**6. Habits.** Call-backs (`repeats`, callbacks): the base chance that a call's work comes back is {callback} (twice that
after "no fault found"), {people_factor} times for K.B.; a share of {people_all} of {people_calls:,} calls came back because of the
work. "Calls" here leaves out spring rounds, turnovers, no access, visits that only ordered a part, and call-backs
themselves. The rule is the reading at or below which a capacitor is changed; nobody wrote the rules down.

| who | visits | calls | came back | share | rule, % | own meter |
| --- | --- | --- | --- | --- | --- | --- |
{people_rows}

**7. Rotary compressors are harder on hard-start parts** (`rates --by compressor_type --component 'hard start'`). They age
{hs_factor} times as fast there: {hs_rotary} failures in {hs_rotary_years} kit-years against {hs_other} in {hs_other_years}, ratio {hs_ratio}.

**8. Summers** (`seasons`). 2023 was hot ({hot:+.1f} °F in high summer), 2021 mild ({mild:+.1f} °F).

## Traps that are no dirt

- **A gap.** {gap_place} has no log from {gap_from} to {gap_to} (`coverage.csv`); {lost} visits in it are lost.
- **Lost histories.** Everything before 2020; some installation dates are blank.
- **Two units at one tag.** {replaced} units were replaced in the log's years, some others before it. Paper was left undone:
  {no_retired} have no `retired_on` though a later row for the tag exists; {no_row} have neither that nor a row for the new unit.
- **Taken away for good:** {gone}.
- **A rating the catalogue doesn't have:** family {odd_family}, {odd_rating} µF ({odd_count} units). Its capacitors were bought over
  the counter, so `part_no` is blank in `parts_used.csv`; next summer's need is a line "part number unknown".
- **The same building names** in both complexes.
- **No lead time** for the portable cooler ({no_lead}) in the catalogue.
- Turnover visits from the make-ready sheet have a date and no time. Some visits were written down weeks late.

## What next summer truly holds

The world lived on to September 2026 {runs} times, with weather years drawn from {first_year}–{last_year} and half the units on the
spring round: failures and pieces fitted from {season_from} to {season_to}, mean and the 5 and 95 % points of single summers. Pieces
leave out upgrades. A forecast made from the log alone must be less sure than this.

| failures of | mean | 5 % | 95 % |
| --- | --- | --- | --- |
{forecast_failures}

| pieces of | mean | 5 % | 95 % |
| --- | --- | --- | --- |
{forecast_pieces}
"""  # noqa: E501 (placeholders are longer than what replaces them)

DIRT = """
## Dirty records

{count} records, among them {cascade} readings and parts that are refused only because their visit is. Reasons are the key's own
words. Recorded money of all clean records: {money}.

| file | record | key | what | becomes | detail |
| --- | --- | --- | --- | --- | --- |
{rows}
"""  # noqa: E501 (placeholders are longer than what replaces them)


def table(rows: list[list[object]]) -> str:
    """Return the body of a Markdown table."""
    return "\n".join(
        "| " + " | ".join("" if c is None else str(c).replace("|", "/") for c in row) + " |" for row in rows
    )


def counted(rows: dict[str, dict[str, Any]]) -> str:
    """Return the rows of a table of mean and limits."""
    return table([[name, r["mean"], r["q05"], r["q95"]] for name, r in rows.items()])


def planted_values(key: dict[str, Any]) -> dict[str, object]:
    """Return what the planted part of the text needs."""
    p = key["planted"]
    family, lot, spell = p["bad_family"], p["bad_lot"], p["voltage_spell"]
    people, kits, meters = p["people"], p["rotary_hard_start"], p["meters"]
    anomaly = p["summers"]["anomaly_f"]
    return {
        "family": family["family"],
        "family_units": family["units"],
        "family_factors": " and ".join(str(f) for f in family["ageing_factor"].values()),
        "family_rows": table(
            [[n, r["failures"], r["failures_elsewhere"], r["ratio"]] for n, r in family["realized"].items()]
        ),
        "family_years": family["unit_years"],
        "other_years": family["unit_years_elsewhere"],
        "lot": lot["lot"],
        "lot_part": lot["part_no"],
        "lot_from": lot["handed_out"][0],
        "lot_to": lot["handed_out"][1],
        "lot_fitted": lot["fitted"],
        "lot_written": lot["fitted_with_lot_written"],
        "lot_factor": lot["factor"],
        "lot_months": lot["first_months"],
        "lot_failed": lot["failed_early"],
        "lot_others": lot["fitted_other_lots"],
        "lot_others_failed": lot["failed_early_other_lots"],
        "campaign": len(p["campaign"]["visits"]),
        "spell_place": spell["property"],
        "spell_building": spell["building"],
        "spell_units": spell["units"],
        "spell_from": spell["window"][0],
        "spell_to": spell["window"][1],
        "spell_count": len(spell["failures"]),
        "spell_extra": spell["extra_planned"],
        "spell_rows": table(spell["failures"]),
        "lemon_rest": p["lemons"]["rate_elsewhere"],
        "lemon_rows": table([list(u.values()) for u in p["lemons"]["units"]]),
        "noise": meters["noise_pct"],
        "meter_rows": table([[m, b, meters["bias_against_mean_pct"][m]] for m, b in meters["bias_pct"].items()]),
        "callback": people["base_share"],
        "people_factor": people["by_person"]["K.B."]["callback_factor"],
        "people_all": people["all_share"],
        "people_calls": people["all_calls"],
        "people_rows": table(
            [
                [n, r["visits"], r["calls"], r["came_back"], r["share"], r["changes_below_pct"], r["meter"]]
                for n, r in people["by_person"].items()
            ]
        ),
        "hs_factor": kits["ageing_factor"],
        "hs_rotary": kits["rotary_failures"],
        "hs_rotary_years": kits["rotary_kit_years"],
        "hs_other": kits["other_failures"],
        "hs_other_years": kits["other_kit_years"],
        "hs_ratio": kits["ratio"],
        "hot": anomaly["2023"],
        "mild": anomaly["2021"],
    }


def truth_values(key: dict[str, Any]) -> dict[str, object]:
    """Return what the traps and the truth need."""
    traps, truth, totals = key["traps"], key["truth"], key["totals"]
    drift, forecast = truth["drift"], truth["forecast"]
    failures = totals["true_failures"]
    odd = traps["rating_not_in_catalogue"]
    return {
        "start_mean": drift["start_mean_pct"],
        "start_sd": drift["start_sd_pct"],
        "slope": -drift["slope_mean_pct_per_heat_year"],
        "slope_cv": drift["slope_cv"],
        "knee": drift["hazard_knee_pct"],
        "per_pct": drift["hazard_per_pct"],
        "components": table(
            [
                [c["name"], c["shape"], c["scale_heat_years"], c["heat_share"], c["startup"], failures.get(c["name"])]
                for c in truth["components"]
            ]
        ),
        "unit_years": totals["unit_years_in_service"],
        "failures_all": totals["true_failures_all"],
        "lost": totals["visits_lost_in_gap"],
        "gap_place": traps["coverage_gap"]["property"],
        "gap_from": traps["coverage_gap"]["from"],
        "gap_to": traps["coverage_gap"]["to"],
        "replaced": traps["unit_replaced"]["count"],
        "no_retired": ", ".join(traps["unit_replaced"]["no_retired_on"]),
        "no_row": ", ".join(traps["unit_replaced"]["no_row_for_new_unit"]),
        "gone": ", ".join(traps["retired_without_successor"]),
        "odd_family": odd["family"],
        "odd_rating": odd["rating"],
        "odd_count": len(odd["units"]),
        "no_lead": ", ".join(traps["catalogue_without_lead_time"]),
        "runs": forecast["runs"],
        "first_year": forecast["weather_years"][0],
        "last_year": forecast["weather_years"][-1],
        "season_from": forecast["season"][0],
        "season_to": forecast["season"][1],
        "forecast_failures": counted({**forecast["failures"], "all": forecast["failures_all"]}),
        "forecast_pieces": counted(
            {
                **forecast["pieces"],
                **{f"all, {why}": r for why, r in forecast["pieces_by_why"].items()},
                "all": forecast["pieces_all"],
            }
        ),
    }


def readme(key: dict[str, Any]) -> str:
    """Return the whole README.md."""
    totals = key["totals"]
    files = [[f"`{name}`", *counts.values()] for name, counts in totals["files"].items()]
    intro = INTRO.format(units=totals["apartments"], visits=totals["tables"]["visits"]["clean"], files=table(files))
    dirty = key["dirty"]
    rows = [
        [
            d["file"],
            d["record"],
            d["key"],
            d["what"],
            f"{d['becomes']} ({d['reason']})" if d["reason"] else d["becomes"],
            d["detail"],
        ]
        for d in dirty
    ]
    money = ", ".join(f"{kind} {amount}" for kind, amount in totals["money"].items())
    cascade = sum(d["reason"] == "visit_quarantined" for d in dirty)
    dirt = DIRT.format(count=len(dirty), cascade=cascade, money=money, rows=table(rows))
    return intro + STORY.format(**planted_values(key), **truth_values(key)) + dirt
