"""Readings of run capacitors as the drift model takes them: which part, since when, by which meter.

Levels are 100 × log(measured/rated): near zero that is the deviation in percent, and a meter's error, a share of what
it reads, adds up on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.meters import COLLAPSED_PCT
from fleet.analysis.mixed_drift import SPREADS, DriftDesign
from fleet.analysis.poisson import FloatArray
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR

FIXED = ("level of new parts", "level of older parts", "level by age", "slope", "level of fans", "slope of fans")
"""The shared effects every log has; slopes of kinds and meters follow."""

_PRIOR_MEAN = (0.0, -2.5, -1.0, -0.5, 0.0, 0.0)
_PRIOR_SD = (1.5, 3.0, 2.0, 0.5, 1.0, 0.3)
"""Weak priors, percent and percent a year (age: by ten years): common practice, no source; the log outweighs them."""

_UNNAMED_SD = 1.5
"""What readings of no named meter, and running readings, may be off together, percent."""

_USUAL_AGE = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftParts:
    """Sections of capacitors and their usable readings.

    Attributes
    ----------
    sections : pandas.DataFrame
        One row a section of a capacitor that is in service or was read: unit, kind, rated value, origin, whether the
        age is known, and its last reading of any sense. Its index is the part code of ``readings``.
    readings : pandas.DataFrame
        One row a usable reading, by part and time: part, t (years since origin), level, meter, running.
    kinds, meters : tuple of str
        Names behind the codes; the last two meters stand for bench readings of no named meter and for running readings.
    collapsed : pandas.DataFrame
        Readings so far below rated that they tell of a failed section, not of drift.
    """

    sections: pd.DataFrame
    readings: pd.DataFrame
    kinds: tuple[str, ...]
    meters: tuple[str, ...]
    collapsed: pd.DataFrame

    def shared(self, part: npt.NDArray[np.intp], t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return what each shared effect counts in the level and in the slope of parts at time ``t``; no meter."""
        s = self.sections.iloc[part]
        new = s["new"].to_numpy(dtype=np.float64)
        fan = (s["section"] == "fan").to_numpy(dtype=np.float64)
        kind = s["kind"].to_numpy(dtype=np.intp)[:, None] == np.arange(len(self.kinds))[None, :]
        nothing = np.zeros((part.size, len(self.meters)))
        zero = np.zeros(part.size)
        age = (1.0 - new) * s["age_at_origin"].to_numpy(dtype=np.float64) / 10.0
        level = np.column_stack([new, 1.0 - new, age, t, fan, fan * t, kind * t[:, None], nothing])
        slope = np.column_stack([zero, zero, zero, zero + 1.0, zero, fan, kind, nothing])
        return level, slope

    def design(self) -> DriftDesign:
        """Return the arrays the mixed model takes."""
        r = self.readings
        part, t = r["part"].to_numpy(dtype=np.intp), r["t"].to_numpy(dtype=np.float64)
        shared, _ = self.shared(part, t)
        first_meter = shared.shape[1] - len(self.meters)
        shared[np.arange(len(r)), first_meter + r["meter"].to_numpy(dtype=np.intp)] = 1.0
        fitted = len(self.kinds) * [SPREADS.index("kind_slope")] + (len(self.meters) - 2) * [SPREADS.index("meter")]
        return DriftDesign(
            y=r["level"].to_numpy(dtype=np.float64),
            t=t,
            part=part,
            running=r["running"].to_numpy(dtype=np.bool_),
            shared=shared,
            prior_mean=np.array([*_PRIOR_MEAN, *[0.0] * (len(fitted) + 2)]),
            prior_sd=np.array([*_PRIOR_SD, *[np.nan] * len(fitted), _UNNAMED_SD, _UNNAMED_SD]),
            group=np.array([*[-1] * len(FIXED), *fitted, -1, -1], dtype=np.intp),
            new=self.sections["new"].to_numpy(dtype=np.bool_),
        )

    def without(self, odd: npt.NDArray[np.bool_], jumps: npt.NDArray[np.bool_]) -> DriftParts:
        """Leave out odd readings, and begin a part of unknown age at each jump."""
        r = self.readings.copy()
        later = np.zeros(len(r), dtype=np.intp)
        if jumps.any():
            later = r.assign(jump=jumps).groupby("part")["jump"].cumsum().to_numpy(dtype=np.intp)
        new_code = pd.factorize(pd.MultiIndex.from_arrays([r["part"], later]))[0] if len(r) else later
        split = pd.DataFrame(
            {"old": r["part"].to_numpy(), "later": later, "code": new_code, "day": r["day"].to_numpy()}
        )
        born = split.loc[split["later"] > 0].drop_duplicates(["old", "later"])
        if born.empty:
            return replace(self, readings=r.loc[~odd].reset_index(drop=True))
        n = len(self.sections)
        added = self.sections.iloc[born["old"].to_numpy()].copy()
        added["origin"], added["new"] = pd.to_datetime(born["day"].to_numpy()), False
        added["age_at_origin"] = _centred_age(added["installed_on"], added["origin"])
        # the part that hangs there now is the one after the last jump
        last = born.groupby("old")["later"].transform("max") == born["later"]
        added["in_service"] = added["in_service"].to_numpy() & last.to_numpy()
        sections = pd.concat([self.sections, added], ignore_index=True)
        sections.loc[born["old"].unique(), "in_service"] = False
        place = dict(zip(zip(born["old"], born["later"], strict=True), range(n, n + len(born)), strict=True))
        moved = later > 0
        r.loc[moved, "part"] = [place[key] for key in zip(r.loc[moved, "part"], later[moved], strict=True)]
        origin = sections["origin"].to_numpy()[r["part"].to_numpy(dtype=np.intp)]
        r["t"] = (r["day"].to_numpy() - origin) / np.timedelta64(1, "D") / DAYS_PER_YEAR
        return replace(self, sections=sections, readings=r.loc[~odd].sort_values(["part", "t"]).reset_index(drop=True))


def drift_parts(histories: Histories) -> DriftParts:
    """Read the capacitors and their readings; makes ``history.capacitor_part`` and ``capacitor_reading``."""
    histories.database.run_file("fleet.analysis", "capacitor_part")
    sections = histories.database.frame(_SECTIONS)
    taken = histories.database.frame(_READINGS)
    taken["day"] = pd.to_datetime(taken["day"])
    code = sections.reset_index().set_index(["unit_id", "nth", "section"])["index"]
    taken["part"] = code.reindex(pd.MultiIndex.from_frame(taken[["unit_id", "nth", "section"]])).to_numpy(
        dtype=np.int64
    )
    usable = taken["use"] == "yes"
    sound = usable & (taken["dev_pct"] > COLLAPSED_PCT)
    readings = taken.loc[sound].copy()
    readings["level"] = 100.0 * np.log1p(readings["dev_pct"] / 100.0)
    _set_origins(sections, readings, pd.Timestamp(histories.as_of))
    origin = sections["origin"].to_numpy()[readings["part"].to_numpy(dtype=np.intp)]
    readings["t"] = (readings["day"].to_numpy() - origin) / np.timedelta64(1, "D") / DAYS_PER_YEAR
    readings["running"] = (readings["method"] == "running").to_numpy()
    # a meter's bias belongs to its capacitance range: readings taken running share one of their own
    meter, meters = pd.factorize(readings["meter"].where(~readings["running"]), sort=True)
    readings["meter"] = np.where(readings["running"], len(meters) + 1, np.where(meter < 0, len(meters), meter))
    kind, kinds = pd.factorize(sections["model_family"] + " " + sections["section"], sort=True)
    sections["kind"] = kind
    return DriftParts(
        sections=sections,
        readings=readings.sort_values(["part", "t", "reported_at", "stage"]).reset_index(drop=True),
        kinds=tuple(kinds),
        meters=(*meters, "no named meter", "running"),
        collapsed=taken.loc[(usable & ~sound) | (taken["sense"] == "open")],
    )


def _set_origins(sections: pd.DataFrame, readings: pd.DataFrame, today: pd.Timestamp) -> None:
    """Count time from birth where it is known, else from the first usable reading, else from the as-of day."""
    born = pd.to_datetime(sections["born_on"])
    first = readings.groupby("part")["day"].min().reindex(sections.index)
    sections["new"] = born.notna()
    sections["origin"] = born.fillna(first).fillna(today)
    sections["age_at_origin"] = _centred_age(sections["installed_on"], sections["origin"])


def _centred_age(installed_on: pd.Series, day: pd.Series) -> pd.Series:
    age = (day - pd.to_datetime(installed_on)).dt.days / DAYS_PER_YEAR - _USUAL_AGE
    return age.fillna(0.0)


_SECTIONS = """
with section as (
    select unnest(['herm', 'fan']) as section
),
read as (
    select distinct unit_id, nth, section from history.capacitor_reading
)
select p.*, s.section, case s.section when 'herm' then p.herm_uf else p.fan_uf end as rated_uf
from history.capacitor_part as p cross join section as s
left join read as r on r.unit_id = p.unit_id and r.nth = p.nth and r.section = s.section
where r.unit_id is not null or (p.in_service and (case s.section when 'herm' then p.herm_uf else p.fan_uf end) > 0)
order by p.unit_id, p.nth, s.section desc
"""

_READINGS = """
select unit_id, nth, section, stage, day, reported_at, dev_pct, method, meter, sense, use
from history.capacitor_reading order by unit_id, nth, section, reported_at, stage
"""
