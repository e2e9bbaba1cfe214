"""One view for each question that a brewer asks of the record, for any SQLite tool.

`utc` columns are text made from the wall clock; where `wall_trusted` is 0 they may be wrong, and
the order of the rows (by `seq`) is right all the same.
"""

from __future__ import annotations

_UTC = "strftime('%Y-%m-%d %H:%M:%S', {0}wall_utc_s, 'unixepoch')"


def _happened(table: str, kind: str, chamber: str, what: str) -> str:
    return (
        f"SELECT seq, boot, {_UTC.format('')} AS utc, wall_trusted, {chamber} AS chamber, "  # noqa: S608 - constants
        f"'{kind}' AS kind, {what} AS what FROM {table}"
    )


_WHAT_HAPPENED = (
    "\nUNION ALL\n".join(
        (
            _happened(
                "daemon_runs",
                "daemon",
                "''",
                "change || CASE cleanly WHEN 1 THEN ' cleanly' WHEN 0 THEN ' after a fault' "
                "ELSE '' END || ' (version ' || version || ')'",
            ),
            _happened(
                "output_changes",
                "output",
                "chamber",
                "output || CASE is_on WHEN 1 THEN ' on' ELSE ' off' END || "
                "CASE certainty WHEN 'presumed' THEN ' (presumed: released when the daemon ended)' "
                "ELSE '' END || coalesce(': ' || reason_rule, '') || "
                "coalesce(printf(', %.2f °C', reason_value_c), '') || "
                "coalesce(printf(' against %.2f °C', reason_limit_c), '')",
            ),
            _happened(
                "target_changes",
                "target",
                "chamber",
                "'heat to ' || coalesce(printf('%.2f °C', heat_c), 'none') || ', cool to ' || "
                "coalesce(printf('%.2f °C', cool_c), 'none') || ' (' || source || ')'",
            ),
            _happened(
                "step_changes",
                "step",
                "chamber",
                "profile || ', step ' || (step_index + 1) || ' (' || step_kind || "
                "CASE step_name WHEN '' THEN '' ELSE ', ' || step_name END || ') ' || change",
            ),
            _happened("profile_changes", "profile", "chamber", "profile || ' ' || change"),
            _happened(
                "profile_file_changes",
                "profile-file",
                "''",
                "profile || ' ' || change || ' by ' || who",
            ),
            _happened(
                "alarm_changes",
                "alarm",
                "chamber",
                "alarm || CASE subject WHEN '' THEN '' ELSE ' (' || subject || ')' END "
                "|| ' ' || phase",
            ),
            _happened(
                "trust_changes",
                "probe",
                "chamber",
                "probe || CASE trusted WHEN 1 THEN ' trusted' ELSE ' not trusted' END || "
                "coalesce(': ' || fault, '')",
            ),
            _happened(
                "command_answers",
                "command",
                "chamber",
                "command || ' by ' || who || CASE taken WHEN 1 THEN ': taken' "
                "ELSE ': refused, ' || why END",
            ),
            _happened(
                "gaps", "gap", "chamber", "printf('nobody was in charge for %.0f s', lasted_s)"
            ),
            _happened(
                "outages",
                "outage",
                "chamber",
                "'the daemon was away' || coalesce(printf(' for %.0f s', lasted_s), '') || "
                "CASE cleanly WHEN 1 THEN ' after an orderly stop' ELSE ' without a word' END || "
                "coalesce(printf('; beer before %.2f °C', beer_before_c), '') || "
                "coalesce(printf(', after %.2f °C', beer_after_c), '')",
            ),
            _happened(
                "notes",
                "note",
                "chamber",
                "who || ': ' || CASE WHEN takes_back_seq IS NOT NULL THEN 'takes back: ' "
                "WHEN kind <> 'other' THEN kind || coalesce(' ' || value, '') || ': ' "
                "ELSE '' END || note",
            ),
            _happened(
                "clock_steps",
                "clock",
                "''",
                "printf('wall clock stepped by %+.1f s', stepped_by_s)",
            ),
            _happened(
                "journal_incidents",
                "journal",
                "''",
                "incident || ': ' || detail || CASE WHEN lost_readings + lost_events > 0 THEN "
                "printf(' (lost: %d readings, %d events)', lost_readings, lost_events) ELSE '' END",
            ),
            _happened(
                "message_outcomes",
                "message",
                "''",
                "'message ' || message_number || ' to ' || recipient || "
                "CASE failed WHEN '' THEN ' accepted: ' || title "
                "ELSE ' failed (' || failed || '): ' || title END",
            ),
        )
    )
    + "\nORDER BY seq"
)

_READINGS = "SELECT * FROM readings_a UNION ALL SELECT * FROM readings_b"

_TEMPERATURES = f"""
SELECT r.seq, r.boot, r.mono_s, r.wall_utc_s, {_UTC.format("r.")} AS utc, r.wall_trusted,
    p.chamber, p.probe, r.temp_c, r.fault
FROM readings AS r JOIN probes AS p USING (probe_key)
ORDER BY r.seq"""  # noqa: S608 - constants


def _temperatures_by(table: str) -> str:
    return f"""
SELECT r.boot, r.start_mono_s, r.start_wall_utc_s, {_UTC.format("r.start_")} AS start_utc,
    r.wall_trusted, p.chamber, p.probe, r.minimum_c, r.mean_c, r.maximum_c,
    r.good_readings, r.faulty_readings
FROM {table} AS r JOIN probes AS p USING (probe_key)
ORDER BY r.boot, r.probe_key, r.start_mono_s"""  # noqa: S608 - constants


# A run is an `on` with the row that follows it for the same output. Where that is another `on`,
# rows were lost in between and nobody knows how long the run was.
_OUTPUT_RUNS = f"""
WITH paired AS (
    SELECT *,
        lead(seq) OVER following AS next_seq,
        lead(is_on) OVER following AS next_is_on,
        lead(boot) OVER following AS next_boot,
        lead(mono_s) OVER following AS next_mono_s,
        lead(wall_utc_s) OVER following AS next_wall_utc_s,
        lead(wall_trusted) OVER following AS next_wall_trusted,
        lead(certainty) OVER following AS next_certainty,
        lead(reason_rule) OVER following AS next_reason_rule
    FROM output_changes
    WINDOW following AS (PARTITION BY chamber, output ORDER BY seq)
)
SELECT seq AS start_seq, chamber, output, duty, line, boot,
    mono_s AS start_mono_s, wall_utc_s AS start_wall_utc_s, {_UTC.format("")} AS start_utc,
    wall_trusted, reason_rule AS start_rule,
    CASE next_is_on WHEN 0 THEN next_seq END AS end_seq,
    CASE next_is_on WHEN 0 THEN next_wall_utc_s END AS end_wall_utc_s,
    CASE next_is_on WHEN 0 THEN {_UTC.format("next_")} END AS end_utc,
    CASE next_is_on WHEN 0 THEN next_reason_rule END AS end_rule,
    CASE next_is_on WHEN 0 THEN next_certainty END AS end_certainty,
    CASE WHEN next_is_on = 0 AND next_boot = boot THEN next_mono_s - mono_s
        WHEN next_is_on = 0 AND wall_trusted > 0 AND next_wall_trusted > 0
        THEN next_wall_utc_s - wall_utc_s END AS lasted_s
FROM paired
WHERE is_on = 1
ORDER BY seq"""  # noqa: S608 - constants

_STARTS_BY_HOUR = """
SELECT chamber, output, strftime('%Y-%m-%d %H:00', start_wall_utc_s, 'unixepoch') AS hour_utc,
    count(*) AS starts, min(wall_trusted) AS wall_trusted
FROM output_runs
GROUP BY chamber, output, hour_utc
ORDER BY min(start_seq)"""

_RUN_TIME_BY_DAY = """
SELECT chamber, output, date(start_wall_utc_s, 'unixepoch') AS day_utc,
    count(*) AS starts, round(sum(lasted_s) / 3600.0, 3) AS ran_h,
    round(max(lasted_s) / 60.0, 2) AS longest_run_min, min(wall_trusted) AS wall_trusted
FROM output_runs
GROUP BY chamber, output, day_utc
ORDER BY min(start_seq)"""

_TEMPERATURE_RANGE_BY_DAY = """
SELECT p.chamber, p.probe, date(r.start_wall_utc_s, 'unixepoch') AS day_utc,
    min(r.minimum_c) AS minimum_c,
    round(sum(r.mean_c * r.good_readings) / sum(CASE WHEN r.mean_c IS NOT NULL
        THEN r.good_readings END), 3) AS mean_c,
    max(r.maximum_c) AS maximum_c,
    sum(r.good_readings) AS good_readings, sum(r.faulty_readings) AS faulty_readings,
    min(r.wall_trusted) AS wall_trusted
FROM rollup_quarter_hour AS r JOIN probes AS p USING (probe_key)
GROUP BY p.chamber, p.probe, day_utc
ORDER BY min(r.boot), min(r.start_mono_s)"""

_ALARMS_STANDING = f"""
SELECT seq, chamber, alarm, subject, phase, severity, {_UTC.format("")} AS utc, wall_trusted,
    value, value_limit
FROM (SELECT *, max(seq) FROM alarm_changes GROUP BY chamber, alarm, subject)
WHERE phase <> 'cleared'
ORDER BY seq"""  # noqa: S608 - constants

_DAEMON_UPTIMES = f"""
WITH paired AS (
    SELECT *, lead(change) OVER in_order AS next_change, lead(boot) OVER in_order AS next_boot,
        lead(mono_s) OVER in_order AS next_mono_s, lead(cleanly) OVER in_order AS next_cleanly,
        lead(wall_utc_s) OVER in_order AS next_wall_utc_s
    FROM daemon_runs WHERE change <> 'continued' WINDOW in_order AS (ORDER BY seq)
)
SELECT seq AS start_seq, version, {_UTC.format("")} AS start_utc, wall_trusted,
    CASE next_change WHEN 'stopped' THEN {_UTC.format("next_")} END AS stop_utc,
    CASE WHEN next_change = 'stopped' AND next_boot = boot THEN next_mono_s - mono_s END AS ran_s,
    CASE WHEN next_change IS NULL THEN 'running, or ended without a word'
        WHEN next_change = 'started' THEN 'ended without a word'
        WHEN next_cleanly = 1 THEN 'stopped cleanly'
        ELSE 'stopped after a fault' END AS how_it_ended
FROM paired
WHERE change = 'started'
ORDER BY seq"""  # noqa: S608 - constants

VIEWS = {
    "readings": _READINGS,
    "what_happened": _WHAT_HAPPENED,
    "temperatures": _TEMPERATURES,
    "temperatures_by_minute": _temperatures_by("rollup_minute"),
    "temperatures_by_quarter_hour": _temperatures_by("rollup_quarter_hour"),
    "temperature_range_by_day": _TEMPERATURE_RANGE_BY_DAY,
    "output_runs": _OUTPUT_RUNS,
    "starts_by_hour": _STARTS_BY_HOUR,
    "run_time_by_day": _RUN_TIME_BY_DAY,
    "alarms_standing": _ALARMS_STANDING,
    "daemon_uptimes": _DAEMON_UPTIMES,
}
"""Name and SELECT of every view, in the order in which they build on each other."""
