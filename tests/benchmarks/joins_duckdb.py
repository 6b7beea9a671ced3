"""The question answered by staged joins with filters in DuckDB: the same stages as in pandas, as SQL.

The parts are read into tables; each stage is a table that is filtered and grouped before the next joins it.
"""

from __future__ import annotations

import math
import tempfile
from typing import Any

import duckdb

from kitwright.solver.catalogue import Catalogue
from tests.benchmarks import asked
from tests.benchmarks.asked import Key, Rows, numbers

MEMORY = "4GB"
"""What DuckDB may use; it is given no room on disk for more."""

FIRST_CLOSENESS = 4
"""Builds and valve gear up to this closeness are joined first; where too few fit, up to twice as much."""


def _steps(value: str, aim: float, step: float) -> str:
    return f"CAST(floor(abs({value} - {aim}) / {step} + {asked.NEAR}) AS INTEGER)"


STAGES = [
    # short blocks whose parts fit one another
    """
    CREATE TABLE short AS
    SELECT bore, stroke, deck, crown, paid, unproved, count(*) AS n
    FROM (
        SELECT block.bore, stroke, crown,
            round(block_height - stroke / 2 - length - compression_height, 6) AS deck,
            block.paid + crank.paid + rod.paid + piston.paid AS paid,
            crank.rpm IS NULL OR rod.rpm IS NULL AS unproved
        FROM crank
        JOIN rod ON rod.big_end = crank.journal
        JOIN piston ON piston.pin = rod.pin
        JOIN block ON block.bore = piston.bore
    )
    GROUP BY ALL
    """,
    # stacks of one to three gaskets
    """
    CREATE TABLE stack AS
    WITH layers AS (
        SELECT [a.number] AS held FROM gasket a
        UNION ALL SELECT [a.number, b.number] FROM gasket a JOIN gasket b ON b.number >= a.number
        UNION ALL SELECT [a.number, b.number, c.number]
        FROM gasket a JOIN gasket b ON b.number >= a.number JOIN gasket c ON c.number >= b.number
    ),
    numbered AS (SELECT row_number() OVER () AS stack, held FROM layers),
    each AS (
        SELECT stack, number, count(*) AS layers
        FROM (SELECT stack, unnest(held) AS number FROM numbered) GROUP BY ALL
    ),
    summed AS (
        SELECT stack,
            round(sum(layers * thickness), 6) AS thickness,
            round(sum(layers * thickness * pi() / 4 * bore * bore), 6) AS volume,
            min(bore) AS gasket_bore,
            sum(greatest(layers - on_shelf, 0) * price) AS paid
        FROM each JOIN gasket USING (number) GROUP BY stack
    )
    SELECT thickness, volume, gasket_bore, paid, count(*) AS n FROM summed GROUP BY ALL
    """,
    # valve gear by head
    f"""
    CREATE TABLE gear AS
    WITH opened AS (
        SELECT lift, paid, unproved, count(*) AS n
        FROM (
            SELECT cam.paid + rocker.paid AS paid, rpm IS NULL AS unproved,
                round(greatest(intake_lobe_lift * ratio - lash_intake,
                               exhaust_lobe_lift * exhaust_ratio - lash_exhaust), 9) AS lift
            FROM cam CROSS JOIN rocker
        )
        WHERE lift BETWEEN {asked.LEAST_LIFT - asked.NEAR} AND {asked.LIFT + asked.NEAR}
        GROUP BY ALL
    ),
    closed AS (
        SELECT solid_height, height_gain, spring.paid + retainer.paid AS paid, rpm IS NULL AS unproved, count(*) AS n
        FROM spring CROSS JOIN retainer GROUP BY ALL
    ),
    rest AS (
        SELECT pushrod.paid + flywheel.paid AS paid, rpm IS NULL AS unproved, count(*) AS n
        FROM pushrod CROSS JOIN flywheel GROUP BY ALL
    ),
    valves AS (
        SELECT head.id AS head, opened.unproved OR closed.unproved AS unproved,
            {_steps("lift", asked.LIFT, asked.LIFT_STEP)} AS steps,
            opened.paid + closed.paid AS paid, sum(opened.n * closed.n) AS n
        FROM head CROSS JOIN opened
        JOIN closed ON installed_height + height_gain - solid_height - lift >= {-asked.NEAR}
            AND retainer_room + height_gain - lift >= {-asked.NEAR}
        GROUP BY ALL
    )
    SELECT head, valves.unproved OR rest.unproved AS unproved, steps, valves.paid + rest.paid AS paid,
        sum(valves.n * rest.n) AS n
    FROM valves JOIN rest ON valves.paid + rest.paid <= {asked.BUDGET + asked.NEAR}
    GROUP BY ALL
    """,
    f"SET VARIABLE spare = (SELECT {asked.BUDGET + asked.NEAR} - min(paid) FROM gear)",
    """
    CREATE TABLE milled AS
    SELECT head, chamber - off * chamber_area AS chamber, paid + labour AS paid
    FROM head JOIN mill ON mill.head = head.id
    """,
    # short blocks and stacks inside the limits on quench
    f"""
    CREATE TABLE stacked AS
    WITH near AS (SELECT * FROM short WHERE paid <= getvariable('spare')
        AND deck BETWEEN {asked.QUENCH - asked.NEAR} - (SELECT max(thickness) FROM stack)
                     AND {asked.MOST_QUENCH + asked.NEAR} - (SELECT min(thickness) FROM stack))
    SELECT pi() / 4 * bore * bore * stroke AS swept, crown + pi() / 4 * bore * bore * deck + volume AS filled,
        {_steps("deck + thickness", asked.QUENCH, asked.QUENCH_STEP)} AS steps,
        near.paid + stack.paid AS paid, unproved, near.n * stack.n AS n
    FROM near JOIN stack ON thickness
        BETWEEN {asked.QUENCH - asked.NEAR} - deck AND {asked.MOST_QUENCH + asked.NEAR} - deck
    WHERE near.paid + stack.paid <= getvariable('spare') AND gasket_bore >= bore
    """,
    # with milled heads inside the limits on compression
    f"""
    CREATE TABLE build AS
    SELECT head, unproved, steps + {_steps("1 + swept / (filled + chamber)", asked.RATIO, asked.RATIO_STEP)} AS steps,
        stacked.paid + milled.paid AS paid, sum(n) AS n
    FROM stacked JOIN milled
        ON chamber BETWEEN swept / {asked.MOST_RATIO - 1} - filled - {asked.NEAR}
        AND swept / {asked.LEAST_RATIO - 1} - filled + {asked.NEAR}
    WHERE stacked.paid + milled.paid <= getvariable('spare')
    GROUP BY ALL
    """,
]

CLOSEST = f"""
    SELECT build.unproved OR gear.unproved AS unproved, build.steps + gear.steps AS steps,
        build.paid + gear.paid AS paid, CAST(sum(build.n * gear.n) AS BIGINT) AS n
    FROM build JOIN gear USING (head)
    WHERE build.steps <= $most AND gear.steps <= $most AND build.steps + gear.steps <= $most
        AND build.paid + gear.paid <= {asked.BUDGET + asked.NEAR} AND (build.unproved OR gear.unproved) = $unproved
    GROUP BY ALL ORDER BY ALL LIMIT $wanted
"""


def _fill(connection: Any, kind: str, rows: Rows) -> None:
    """A table of one kind of parts, without those that are too slow."""
    names = list(rows[0])
    types = ["VARCHAR" if isinstance(rows[0][name], str) else "DOUBLE" for name in names]
    columns = ", ".join(f"{name} {each}" for name, each in zip(names, types, strict=True))
    connection.execute(f"CREATE TABLE {kind} (number INTEGER, {columns})")
    place = f"({', '.join('?' * (len(names) + 1))})"
    values = [
        [number, *(None if value != value else value for value in row.values())] for number, row in enumerate(rows)
    ]
    connection.execute(
        f"INSERT INTO {kind} VALUES {', '.join([place] * len(rows))}", [each for row in values for each in row]
    )
    if kind in asked.RATED:
        connection.execute(f"DELETE FROM {kind} WHERE rpm < {asked.SPEED}")


def joined_in_duckdb(catalogue: Catalogue, wanted: int) -> list[Key]:
    """The keys of the best combinations.

    Raises:
        duckdb.OutOfMemoryException: a stage needs more than :data:`MEMORY`.
    """
    with tempfile.TemporaryDirectory() as folder, duckdb.connect() as connection:
        connection.execute(f"SET memory_limit = '{MEMORY}'; SET temp_directory = '{folder}'")
        connection.execute("SET max_temp_directory_size = '0KB'; SET preserve_insertion_order = false")
        for kind, rows in numbers(catalogue).items():
            _fill(connection, kind, rows)
        for stage in STAGES:
            connection.execute(stage)
        found: list[Key] = []
        for unproved in (False, True):
            if len(found) < wanted:
                found += _closest(connection, unproved, wanted - len(found))
        return found


def _closest(connection: Any, unproved: bool, wanted: int) -> list[Key]:
    """Builds joined with valve gear: those that are close first, further ones until enough are found."""
    furthest = connection.execute("SELECT (SELECT max(steps) FROM build) + (SELECT max(steps) FROM gear)").fetchone()[0]
    most = FIRST_CLOSENESS
    while True:
        given = {"most": most, "unproved": unproved, "wanted": wanted}
        rows = connection.execute(CLOSEST, given).fetchall()
        if sum(row[3] for row in rows) >= wanted or most >= (furthest or -math.inf):
            break
        most *= 2
    keys = [(int(a), int(b), float(c)) for a, b, c, n in rows for _ in range(min(n, wanted))]
    return keys[:wanted]
