"""The runs of outputs that began in a span of time: each `on` with what followed it.

The view `output_runs` pairs the rows of the whole record, which is right for whoever asks for all
of it. A span of a long record is found here by its own rows alone: from each `on` the table is
followed to the next row of the same output, which is a few rows away.
"""

from __future__ import annotations

RUNS = """
    SELECT start.seq AS start_seq, start.chamber, start.output, start.duty, start.line,
        start.wall_utc_s AS start_wall_utc_s, start.wall_trusted, start.reason_rule AS start_rule,
        start.reason_limit_c AS start_limit_c,
        stop.wall_utc_s AS end_wall_utc_s, stop.reason_rule AS end_rule,
        stop.certainty AS end_certainty,
        CASE WHEN stop.boot = start.boot THEN stop.mono_s - start.mono_s
            WHEN start.wall_trusted > 0 AND stop.wall_trusted > 0
            THEN stop.wall_utc_s - start.wall_utc_s END AS lasted_s
    FROM output_changes AS start LEFT JOIN output_changes AS stop
        ON stop.is_on = 0 AND stop.seq = (
            SELECT seq FROM output_changes AS later
            WHERE later.seq > start.seq AND later.chamber = start.chamber
                AND later.output = start.output
            ORDER BY seq LIMIT 1)
    WHERE start.is_on = 1 AND start.wall_utc_s >= :first AND start.wall_utc_s < :end
        AND (:chamber IS NULL OR start.chamber = :chamber)
    ORDER BY start_seq"""
"""The runs that began in a span of the wall clock (`first`, `end`), of one `chamber` or (NULL)
all."""

STARTS_BY_HOUR = """
    SELECT chamber, output, strftime('%Y-%m-%d %H:00', wall_utc_s, 'unixepoch') AS hour_utc,
        count(*) AS starts
    FROM output_changes
    WHERE is_on = 1 AND wall_utc_s >= :first AND wall_utc_s < :end
        AND (:chamber IS NULL OR chamber = :chamber)
    GROUP BY chamber, output, hour_utc ORDER BY min(seq)"""
"""How often each output was started in each hour of such a span."""
