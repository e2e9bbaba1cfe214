"""What every table, view and column of the journal means, with its unit.

The one home of these words: `schema.md` beside this file is made from them
(`python -m fermd.journal.described`), `fermd extract --list` shows them, and a Parquet file carries
them in its schema. A test holds them against the database that the migrations really make.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from fermd.journal.described_columns import COMMON, OF_RELATION

Kind = Literal["table", "view"]
ValueKind = Literal["integer", "real", "text"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what it holds, in which unit."""

    name: str
    value_kind: ValueKind
    unit: str
    """Empty for what has none."""
    meaning: str


@dataclass(frozen=True, slots=True)
class Relation:
    """One table or view."""

    name: str
    kind: Kind
    meaning: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of its columns, in order."""
        return tuple(column.name for column in self.columns)


_MOMENT = "seq boot mono_s wall_utc_s wall_trusted"
_ROLLUP = (
    "first_seq last_seq boot start_mono_s probe_key start_wall_utc_s wall_trusted good_readings "
    "faulty_readings minimum_c mean_c maximum_c"
)
_BY_BUCKET = (
    "boot start_mono_s start_wall_utc_s start_utc wall_trusted chamber probe minimum_c mean_c "
    "maximum_c good_readings faulty_readings"
)

_TABLES: Final = {
    "boots": ("The board's boots, numbered in their order.", "boot boot_id"),
    "daemon_runs": (
        "The daemon started, went on in a new journal, or stopped.",
        f"{_MOMENT} change cleanly version",
    ),
    "probes": ("The probes that readings are of.", "probe_key chamber probe"),
    "readings_a": (
        "Raw readings; filled by turns with readings_b. Ask the view readings for both.",
        f"{_MOMENT} probe_key temp_c fault",
    ),
    "readings_b": (
        "Raw readings; filled by turns with readings_a.",
        f"{_MOMENT} probe_key temp_c fault",
    ),
    "rollup_minute": (
        "Readings of one probe in one minute of a boot's clock, kept for over a year.",
        _ROLLUP,
    ),
    "rollup_quarter_hour": (
        "Readings of one probe in a quarter of an hour of a boot's clock, kept for good.",
        _ROLLUP,
    ),
    "rollup_progress": (
        "One row: how far readings have been counted, and which table is being filled.",
        "only_row rolled_up_to_seq readings_go_to",
    ),
    "output_changes": (
        "An output went on or off, with the reason.",
        f"{_MOMENT} chamber duty output line is_on certainty reason_rule reason_value_c "
        "reason_limit_c reason_until_mono_s reason_number reasons_json",
    ),
    "target_changes": (
        "The target of a chamber changed.",
        f"{_MOMENT} chamber heat_c cool_c source who",
    ),
    "step_changes": (
        "A step of a profile was entered, reached, ended, skipped ...",
        f"{_MOMENT} chamber profile step_index step_kind step_name change elapsed_s who",
    ),
    "profile_changes": (
        "A profile was started, paused, ended ...",
        f"{_MOMENT} chamber profile change who",
    ),
    "profile_file_changes": (
        "Somebody saved, replaced or deleted a profile of the site's own.",
        f"{_MOMENT} profile change who",
    ),
    "alarm_changes": (
        "An alarm was raised, acknowledged or cleared.",
        f"{_MOMENT} chamber alarm subject phase severity value value_limit who",
    ),
    "trust_changes": (
        "A probe began or ceased to be trusted.",
        f"{_MOMENT} chamber probe trusted fault temp_c",
    ),
    "command_answers": (
        "A person's command was taken or refused.",
        f"{_MOMENT} chamber command who taken why",
    ),
    "gaps": ("Ticks were missing: nobody was in charge.", f"{_MOMENT} chamber lasted_s"),
    "outages": (
        "The daemon was away, and what became of the beer meanwhile.",
        f"{_MOMENT} chamber lasted_s cleanly beer_before_c beer_after_c counted_s",
    ),
    "notes": (
        "What the brewer wrote down.",
        f"{_MOMENT} chamber who note kind value about_wall_utc_s takes_back_seq",
    ),
    "clock_steps": ("The wall clock was stepped.", f"{_MOMENT} stepped_by_s"),
    "journal_incidents": (
        "Something befell the journal itself.",
        f"{_MOMENT} incident detail lost_readings lost_events",
    ),
    "message_outcomes": (
        "A message to a person was accepted by the other side, or could not be sent.",
        f"{_MOMENT} recipient message_number title failed",
    ),
    "line_history": (
        "What protection must know of each relay line after a restart; replaced, not added to.",
        f"{_MOMENT} line is_on stopped_mono_s started_mono_s starts_mono_s_json "
        "rest_until_mono_s row_crc32",
    ),
    "chamber_records": (
        "What each chamber goes on from after a restart; replaced, not added to.",
        f"{_MOMENT} chamber state_json row_crc32",
    ),
}

_VIEWS: Final = {
    "readings": ("All raw readings that are kept.", f"{_MOMENT} probe_key temp_c fault"),
    "what_happened": (
        "Everything that happened, in words, in its order.",
        "seq boot utc wall_trusted chamber kind what",
    ),
    "temperatures": (
        "All raw readings that are kept, with the names of chamber and probe.",
        "seq boot mono_s wall_utc_s utc wall_trusted chamber probe temp_c fault",
    ),
    "temperatures_by_minute": (
        "Minutes, with the names of chamber and probe; boot by boot, probe by probe.",
        _BY_BUCKET,
    ),
    "temperatures_by_quarter_hour": (
        "Quarters of an hour, with the names of chamber and probe; in the same order.",
        _BY_BUCKET,
    ),
    "temperature_range_by_day": (
        "The coldest, the mean and the warmest of each probe and day (UTC).",
        "chamber probe day_utc minimum_c mean_c maximum_c good_readings faulty_readings "
        "wall_trusted",
    ),
    "output_runs": (
        "Each run of an output, from on to off.",
        "start_seq chamber output duty line boot start_mono_s start_wall_utc_s start_utc "
        "wall_trusted start_rule end_seq end_wall_utc_s end_utc end_rule end_certainty lasted_s",
    ),
    "starts_by_hour": (
        "How often each output was started in each hour (UTC); hours without are left out.",
        "chamber output hour_utc starts wall_trusted",
    ),
    "run_time_by_day": (
        "Starts and hours run of each output by day (UTC).",
        "chamber output day_utc starts ran_h longest_run_min wall_trusted",
    ),
    "alarms_standing": (
        "The alarms that are not cleared.",
        "seq chamber alarm subject phase severity utc wall_trusted value value_limit",
    ),
    "daemon_uptimes": (
        "Each run of the daemon, and how it ended.",
        "start_seq version start_utc wall_trusted stop_utc ran_s how_it_ended",
    ),
}


def _relations() -> Mapping[str, Relation]:
    found = {}
    kinds: tuple[tuple[Kind, Mapping[str, tuple[str, str]]], ...] = (
        ("table", _TABLES),
        ("view", _VIEWS),
    )
    for kind, described in kinds:
        for name, (meaning, columns) in described.items():
            found[name] = Relation(
                name, kind, meaning, tuple(_column(name, one) for one in columns.split())
            )
    return found


def _column(relation: str, name: str) -> Column:
    value_kind, unit, meaning = OF_RELATION.get((relation, name)) or COMMON[name]
    return Column(name, value_kind, unit, meaning)


RELATIONS: Final = _relations()
"""Every table and view by name: tables first, each group in the order of the schema."""


def schema_page() -> str:
    """The text of `schema.md`."""
    lines = [
        "# Tables and views of the journal",
        "",
        "Made from `described.py` by `python -m fermd.journal.described`; do not edit.",
        "",
        "Names carry their units: `_c` is °C, `_s` seconds, `_h` hours, `_utc_s` POSIX time (s",
        "since 1970-01-01 00:00 UTC), `_mono_s` seconds of the boot's clock, which nobody can set.",
        "A unit is given below where the value has one. Tables are strict: a column holds the kind",
        "of value that is given, or nothing (NULL).",
    ]
    for kind, heading in (("view", "Views"), ("table", "Tables")):
        lines += ["", f"## {heading}"]
        for relation in RELATIONS.values():
            if relation.kind == kind:
                lines += ["", f"### {relation.name}", "", relation.meaning, ""]
                lines += ["| column | value | unit | meaning |", "|---|---|---|---|"]
                lines += [
                    f"| `{one.name}` | {one.value_kind} | {one.unit} | {one.meaning} |"
                    for one in relation.columns
                ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("schema.md").write_text(schema_page(), encoding="utf-8")
