-- history.shelf: one row a place where parts are kept: building shelves and the shop of each property.
-- Without has_shelf every building has one. history.shelf_stock: what stands there. Inputs: clean.building, clean.stock.
create or replace table history.shelf as
select property, building as location, position from log.clean.building where has_shelf
union all
select distinct property, 'shop', 100000 from log.clean.property;

create or replace table history.shelf_stock as
select property, location, part_no, sum(on_hand) as on_hand, sum(on_order) as on_order
from log.clean.stock group by all;
