-- Bookkeeping of a load. Grain: one row a source table; one row a record that never reached a landing table.
create table log.landing.source (
    source_id integer primary key,
    load_number integer,
    name varchar,
    member varchar,
    table_name varchar,
    landed_in varchar,     -- its landing table
    sha256 varchar,
    n_records bigint,      -- counted over the bytes, the header not counted
    n_landed bigint,
    first_place bigint,    -- rowid of its first row in the landing table
    is_sheet boolean,
    columns varchar[],     -- columns of the contract it has
    headers varchar[],     -- as the file has them
    repaired boolean,
    delimiter varchar
);
create table log.landing.set_aside (
    source_id integer, record bigint, standing varchar, reason varchar, raw varchar
);
create table log.landing.correction (
    source_id integer, record bigint,               -- where the corrected record came back
    origin_source integer, origin_record bigint,    -- the refused one it stands for
    cells varchar[]
);
create table log.landing.remark (
    source_id integer, kind varchar, said varchar   -- kind: date order, header, passed over, built
);
