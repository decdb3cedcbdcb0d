"""List the tables of a job sheet: what each reads from the records, and how people see its columns."""

from __future__ import annotations

from dataclasses import dataclass

from analytics.answer import Column


@dataclass(frozen=True)
class TableOfSheet:
    """Declare one table of a job sheet: SQL over the known records with `$job`, and its columns for people."""

    name: str
    heading: str
    sql: str
    columns: tuple[Column, ...]


COMPLAINTS = TableOfSheet(
    "complaints",
    "What the customer complained of",
    """
    select complaint, when_heard, gear, shift_direction, since, place
    from known_complaint where job = $job order by complaint, gear nulls first, when_heard nulls first
    """,
    (
        Column("complaint", "Complaint"),
        Column("when_heard", "Shows"),
        Column("gear", "Gear"),
        Column("shift_direction", "Changing"),
        Column("since", "Since"),
        Column("place", "Where"),
    ),
)

FINDINGS = TableOfSheet(
    "findings",
    "What we found inside",
    """
    with the_family as (select u.family from known_job j join known_unit u on u.unit = j.unit where j.job = $job)
    select f.position, p.component, f.grade, f.role, f.damage_mode, f.action,
           f.ring_gap_um / 1000 as ring_gap_mm, f.end_float_um / 1000 as end_float_mm
    from known_finding f
    left join known_position p on p.position = f.position and p.family = (select family from the_family)
    where f.job = $job
    order by f.grade desc nulls last, f.position
    """,
    (
        Column("position", "Position"),
        Column("component", "Component"),
        Column("grade", "Grade", "0 as new, 1 light wear, 2 worn within limits, 3 worn beyond limits, 4 broken"),
        Column("role", "What it was to the complaint"),
        Column("damage_mode", "Damage"),
        Column("action", "What we did"),
        Column("ring_gap_mm", "Ring gap", unit="mm"),
        Column("end_float_mm", "End float", unit="mm"),
    ),
)

# A reading is kept in thousandths of what people read: micrometres for mm, millinewton metres for N·m.
READINGS = TableOfSheet(
    "readings",
    "Readings, trial by trial",
    """
    with reading as (  -- one row per reading, its numbers as people write them: two decimals, a third where it counts
        select *, case when quantity like '%torque' then ' N·m' else ' mm' end as unit,
               regexp_replace(printf('%.3f', value / 1000), '0$', '') as said,
               regexp_replace(printf('%.3f', target / 1000), '0$', '') as aimed,
               regexp_replace(printf('%.3f', lower / 1000), '0$', '') as low,
               regexp_replace(printf('%.3f', upper / 1000), '0$', '') as high,
               nullif(concat_ws(', ', bearing_state || ' bearing', bearing_condition || ' bearings', bearing_maker,
                 torque_kind, 'seals ' || seals, if(oiled, 'oiled', null), if(cold, 'cold', null)), '') as conditions
        from known_measurement where job = $job
    ), taken as (  -- one row per reading, or per round of points read alike
        select stage, trial, quantity, location, unit, aimed, low, high, instrument, technician, read_on, conditions,
               string_agg(said, ', ' order by point nulls first, value) as said
        from reading group by all
    )
    select stage, trial, quantity, location, said || unit as reading, aimed || unit as target,
           case when high is null then 'from ' || low when low is null then 'up to ' || high
             else low || ' to ' || high end || unit as limits,
           instrument, technician, read_on, conditions
    from taken
    order by case stage when 'as_found' then 0 when 'trial' then 1 else 2 end, trial nulls last, quantity,
             location nulls first, read_on nulls first, instrument nulls first, reading
    """,
    (
        Column("stage", "Stage"),
        Column("trial", "Trial"),
        Column("quantity", "What was read"),
        Column("location", "Shim location"),
        Column("reading", "Reading", "point by point round the ring where it was read at several"),
        Column("target", "Aimed at"),
        Column("limits", "Limits"),
        Column("instrument", "Gauge"),
        Column("technician", "Read by"),
        Column("read_on", "Day"),
        Column("conditions", "How it was read"),
    ),
)

PACKS = TableOfSheet(
    "packs",
    "Shim packs",
    """
    with lines as (
        select location, stage, trial, thickness_um, coalesce(pieces, 1) as pieces, thickness_basis
        from known_shim where job = $job
    )
    select location, stage, trial,
           string_agg(pieces || ' x ' || printf('%.3f', thickness_um / 1000), ' + ' order by thickness_um) as pack,
           cast(sum(pieces) as integer) as pieces,
           cast(sum(pieces * thickness_um) as double) / 1000 as total_mm,
           string_agg(distinct thickness_basis, ', ' order by thickness_basis) as thickness_basis
    from lines
    group by location, stage, trial
    order by location, case stage when 'as_found' then 0 when 'trial' then 1 else 2 end, trial nulls last
    """,
    (
        Column("location", "Shim location"),
        Column("stage", "Stage"),
        Column("trial", "Trial"),
        Column("pack", "Shims in the pack", unit="mm"),
        Column("pieces", "Pieces"),
        Column("total_mm", "Total", unit="mm"),
        Column("thickness_basis", "Thickness"),
    ),
)

CONTACT_PATTERNS = TableOfSheet(
    "contact_patterns",
    "Contact patterns",
    """
    select trial, drive_lengthwise, drive_profile, coast_lengthwise, coast_profile, passed
    from known_contact_pattern where job = $job order by trial
    """,
    (
        Column("trial", "Trial"),
        Column("drive_lengthwise", "Drive side, along the tooth"),
        Column("drive_profile", "Drive side, up the tooth"),
        Column("coast_lengthwise", "Coast side, along the tooth"),
        Column("coast_profile", "Coast side, up the tooth"),
        Column("passed", "Accepted"),
    ),
)

ROAD_TESTS = TableOfSheet(
    "road_tests",
    "Road tests",
    """
    select tested_on, before_work, test, gear, up, down, on_drive, on_coast, leaks, noise,
           distance_m / 1000 as distance_km
    from known_road_test where job = $job
    order by before_work desc nulls last, tested_on nulls last, test, gear nulls first
    """,
    (
        Column("tested_on", "Day"),
        Column("before_work", "Before the work"),
        Column("test", "Test"),
        Column("gear", "Gear"),
        Column("up", "Changing up"),
        Column("down", "Changing down"),
        Column("on_drive", "Under drive"),
        Column("on_coast", "On the coast"),
        Column("leaks", "Leaks"),
        Column("noise", "Noise"),
        Column("distance_km", "Distance", unit="km"),
    ),
)

PARTS = TableOfSheet(
    "parts",
    "Parts",
    """
    select l.part, coalesce(p.description, p.component) as description, nullif(l.movement, 'fitted') as movement,
           l.position, l.quantity_milli / 1000 as quantity,
           l.supplier, l.maker, l.lot, nullif(l.origin, 'new') as origin, l.kit, l.unit_cost_cents / 100 as unit_cost,
           l.unit_price_cents / 100 as unit_price, l.ordered, l.received
    from known_part_line l
    left join known_part p on p.part = l.part
    where l.job = $job
    order by p.component nulls last, l.part, l.position nulls first, l.movement, l.lot
    """,
    (
        Column("part", "Part"),
        Column("description", "What it is"),
        Column("movement", "If not fitted"),
        Column("position", "Position"),
        Column("quantity", "Pieces"),
        Column("supplier", "Supplier"),
        Column("maker", "Maker in the box"),
        Column("lot", "Lot"),
        Column("origin", "If not new"),
        Column("kit", "From kit"),
        Column("unit_cost", "Cost of one", unit="money"),
        Column("unit_price", "Price of one", unit="money"),
        Column("ordered", "Ordered"),
        Column("received", "Received"),
    ),
)

LABOUR = TableOfSheet(
    "labour",
    "Labour",
    """
    select worked_on, operation, technician, place, worked_min / 60 as worked_h, billed_min / 60 as billed_h
    from known_labour where job = $job order by worked_on nulls last, operation, technician
    """,
    (
        Column("worked_on", "Day"),
        Column("operation", "Operation"),
        Column("technician", "Technician"),
        Column("place", "Where"),
        Column("worked_h", "Worked", unit="h"),
        Column("billed_h", "Billed", unit="h"),
    ),
)

OUTSIDE_WORK = TableOfSheet(
    "outside_work",
    "Work sent out",
    """
    select process, contractor, sent, back, cost_cents / 100 as cost, price_cents / 100 as price
    from known_outside_work where job = $job order by sent nulls last, process
    """,
    (
        Column("process", "What was done"),
        Column("contractor", "Who did it"),
        Column("sent", "Sent"),
        Column("back", "Back"),
        Column("cost", "Cost", unit="money"),
        Column("price", "Price", unit="money"),
    ),
)

WAITS = TableOfSheet(
    "waits",
    "What the job waited for",
    """
    select waiting_on, part, wait_from, wait_to, wait_to - wait_from as days
    from known_wait where job = $job order by wait_from, waiting_on
    """,
    (
        Column("waiting_on", "Waited for"),
        Column("part", "Part"),
        Column("wait_from", "From"),
        Column("wait_to", "To"),
        Column("days", "Days"),
    ),
)

MONEY = TableOfSheet(
    "money",
    "Money",
    """
    with fitted as (
        select cast(sum(round(quantity_milli * unit_cost_cents / 1000)) as double) / 100 as cost,
               cast(sum(round(quantity_milli * unit_price_cents / 1000)) as double) / 100 as price
        from known_part_line where job = $job and movement = 'fitted'
    ), sent_out as (
        select cast(sum(cost_cents) as double) / 100 as cost, cast(sum(price_cents) as double) / 100 as price
        from known_outside_work where job = $job
    ), lines as (
        select 1 as place, 'quoted' as what, null::double as cost, quoted_cents / 100 as price, null::date as day
        from known_job where job = $job
        union all select 2, 'parts fitted', cost, price, null from fitted
        union all select 3, 'work sent out', cost, price, null from sent_out
        union all select 4, money_kind, null, amount_cents / 100, booked_on from known_money_line where job = $job
        union all select 5, 'invoiced', null, invoiced_cents / 100, null from known_job where job = $job
    )
    select what, day, cost, price from lines where cost is not null or price is not null
    order by place, day nulls first, what, price
    """,
    (
        Column("what", "What"),
        Column("day", "Day"),
        Column("cost", "Cost to us", unit="money"),
        Column("price", "To the customer or booked", unit="money"),
    ),
)

CAME_BACK_FROM = TableOfSheet(
    "came_back_from",
    "Earlier jobs this one comes back from",
    """
    select original_job as other_job, reported, outcome, payer, position, damage_mode, cost_cents / 100 as cost
    from known_comeback where comeback_job = $job order by reported, original_job
    """,
    (
        Column("other_job", "Job"),
        Column("reported", "Reported"),
        Column("outcome", "Turned out to be"),
        Column("payer", "Paid by"),
        Column("position", "Position at fault"),
        Column("damage_mode", "Damage"),
        Column("cost", "Cost to us", unit="money"),
    ),
)

CAME_BACK_AS = TableOfSheet(
    "came_back_as",
    "Comebacks from this job",
    """
    select comeback_job as other_job, reported, outcome, payer, position, damage_mode,
           odometer_m / 1000 as odometer_km, cost_cents / 100 as cost
    from known_comeback where original_job = $job order by reported, comeback_job
    """,
    (
        Column("other_job", "Job", "empty where it was settled without opening the unit"),
        Column("reported", "Reported"),
        Column("outcome", "Turned out to be"),
        Column("payer", "Paid by"),
        Column("position", "Position at fault"),
        Column("damage_mode", "Damage"),
        Column("odometer_km", "Odometer", unit="km"),
        Column("cost", "Cost to us", unit="money"),
    ),
)

OTHER_VISITS = TableOfSheet(
    "other_visits",
    "The unit's other visits",
    """
    select v.job as other_job, v.kind, v.opened, v.delivered, v.odometer_m / 1000 as odometer_km, v.technician
    from known_job v
    where v.unit = (select unit from known_job where job = $job) and v.job <> $job
    order by v.opened, v.job
    """,
    (
        Column("other_job", "Job"),
        Column("kind", "Kind of job"),
        Column("opened", "Opened"),
        Column("delivered", "Delivered"),
        Column("odometer_km", "Odometer", unit="km"),
        Column("technician", "Lead technician"),
    ),
)

TABLES_OF_SHEET: tuple[TableOfSheet, ...] = (
    COMPLAINTS, FINDINGS, READINGS, PACKS, CONTACT_PATTERNS, ROAD_TESTS, PARTS, LABOUR, OUTSIDE_WORK, WAITS, MONEY,
    CAME_BACK_FROM, CAME_BACK_AS, OTHER_VISITS,
)  # fmt: skip
