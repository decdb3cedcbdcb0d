"""Number the kinds of components, so that what a job looked at fits into the bits of one number."""

from __future__ import annotations

KINDS = """kinds as (  -- one row per kind of component, with its number and its bit
  select component, code, 1::bigint << code as bit from (
    select component, (dense_rank() over (order by component) - 1)::integer as code
    from (select distinct component from known_position where component is not null)
  )
)"""
