-- equipment (and ratings of catalogue parts): days and ratings that can't be or aren't likely.
-- Inputs: log.landing.equipment, catalogue, memory.main.load_settings(as_of)
update log.landing.equipment set standing = 'quarantined', reason = 'retired_before_installed'
where standing is null and retired_on < installed_on;

update log.landing.equipment
set notice = concat_ws(' | ', notice, 'installed_in_future: ' || installed_on)
where standing is null and installed_on > (select as_of from memory.main.load_settings);

-- a zero says there is no such section or kit
update log.landing.equipment
set notice = concat_ws(' | ', notice, 'zero_rating: read as none'), herm_uf = nullif(herm_uf, 0), fan_uf = nullif(fan_uf, 0),
    start_uf_min = nullif(start_uf_min, 0), start_uf_max = nullif(start_uf_max, 0), tons = nullif(tons, 0),
    tolerance_pct = nullif(tolerance_pct, 0), charge_oz = nullif(charge_oz, 0)
where standing is null and 0 in (herm_uf, fan_uf, start_uf_min, start_uf_max, tons, tolerance_pct, charge_oz);

-- the fan's section is the small one: at most 15 microfarads, where the compressor's is at least that
update log.landing.equipment
set notice = concat_ws(' | ', notice, 'ratings_swapped: ' || herm_uf || ' and ' || fan_uf || ' exchanged'),
    herm_uf = fan_uf, fan_uf = herm_uf
where standing is null and herm_uf < fan_uf and fan_uf >= 15 and herm_uf <= 15;

update log.landing.catalogue
set notice = concat_ws(' | ', notice, 'ratings_swapped: ' || herm_uf || ' and ' || fan_uf || ' exchanged'),
    herm_uf = fan_uf, fan_uf = herm_uf
where standing is null and herm_uf < fan_uf and fan_uf >= 15 and herm_uf <= 15;

update log.landing.equipment
set notice = concat_ws(' | ', notice, 'range_reversed: ' || start_uf_min || ' to ' || start_uf_max),
    start_uf_min = start_uf_max, start_uf_max = start_uf_min
where standing is null and start_uf_min > start_uf_max;

update log.landing.catalogue
set notice = concat_ws(' | ', notice, 'range_reversed: ' || start_uf_min || ' to ' || start_uf_max),
    start_uf_min = start_uf_max, start_uf_max = start_uf_min
where standing is null and start_uf_min > start_uf_max;

-- run capacitors of small units: 3 to 100 microfarads; start capacitors 15 to 1,000; units up to 6 tons
update log.landing.equipment
set notice = concat_ws(' | ', notice, 'rating_unlikely: ' || concat_ws(', ',
    case when herm_uf not between 3 and 100 then 'herm ' || herm_uf || ' uF' end,
    case when fan_uf not between 1 and 30 then 'fan ' || fan_uf || ' uF' end,
    case when start_uf_max not between 15 and 1000 then 'start ' || start_uf_max || ' uF' end,
    case when tons not between 0.4 and 6.5 then tons || ' tons' end,
    case when tolerance_pct > 20 then 'tolerance ' || tolerance_pct || ' %' end,
    case when charge_oz not between 8 and 640 then charge_oz || ' oz' end))
where standing is null and (herm_uf not between 3 and 100 or fan_uf not between 1 and 30
    or start_uf_max not between 15 and 1000 or tons not between 0.4 and 6.5 or tolerance_pct > 20
    or charge_oz not between 8 and 640);
