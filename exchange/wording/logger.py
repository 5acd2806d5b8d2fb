"""What is found in a logger's file, and what is asked about it: code and parameters become a sentence."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from exchange.science.logger_choice import LoggerQuestion
from exchange.science.logger_text import LoggerFinding

Words = Mapping[str, str | Promise]

FINDINGS: Words = {
    # --- the file ---
    "file_empty": _("Nothing stands in this file."),
    "file_too_long": _("The file has {bytes} bytes; allowed: {allowed} at most."),
    "not_a_text_file": _(
        "This is no text; it looks like: {looks_like}. Export the readings as text or CSV and send that."
    ),
    "zero_byte": _("A zero byte stands here; this is no text. Export the readings as text or CSV."),
    "control_character": _("A sign that no text holds stands here. Export the file anew."),
    "not_decodable": _("The letters of this file cannot be read; export it in UTF-8."),
    "too_many_rows": _("The file has {rows} lines; allowed: {allowed} at most."),
    "line_too_long": _("This line has {characters} characters; allowed: {allowed} at most."),
    "too_many_cells_in_file": _("The file has {cells} cells; allowed: {allowed} at most."),
    "no_table": _("No line holds a time and a number; readings are lines with both."),
    # --- what was stated and cannot be ---
    "delimiter_contradicted": _("You say that cells end with {stated}; the file has {found}."),
    "decimal_mark_contradicted": _("You say that the decimal mark is {stated}; the file has {found}."),
    "unit_contradicted": _("You say that the unit is {stated}; the file says {found}."),
    "date_order_contradicted": _("You say that dates are {stated}; the file has {found}."),
    "zone_contradicted": _("You say that the zone is {stated}; the file says {found}."),
    "clock_contradicted": _(
        "The zone {value} knows no summer time, so no clock follows it. Name a place's zone such as"
        " Europe/Berlin, or say that the clock stays."
    ),
    "time_columns_contradicted": _("This column does not hold times, or not these two together."),
    "temperature_column_contradicted": _("This column does not hold temperatures."),
    "time_columns_unknown": _("There is no such column."),
    "temperature_column_unknown": _("There is no such column."),
    "zone_unknown": _(
        "{value} is no zone; allowed: UTC, an offset such as +02:00, a name such as Europe/Berlin."
    ),
    # --- rows that were left out ---
    "unclosed_quote": _("A quotation mark is not closed, or stands inside a cell."),
    "too_many_cells": _("There are more cells than the heading has columns."),
    "cell_missing": _("The cell is blank."),
    "not_a_time": _("It is {value}, which is no time of a calendar day."),
    "offset_missing": _("It is {value}; the other rows say how far they are from UTC."),
    "not_a_number": _("It is {value}, which is no number."),
    "unit_differs": _("It is {value}, which is of another unit than the other rows."),
    "impossible_temperature": _("It is {value}; allowed: −90 to 60 °C."),
    "time_does_not_exist": _("It is {value}, an hour that the clock skipped for summer time."),
    "ambiguous_time": _("It is {value}, an hour that the clock showed twice; which one cannot be told."),
    # --- notes ---
    "heading_repeated": _("The heading stands here again."),
    "newest_first": _("The latest reading stands first; they were put in order."),
    "out_of_order": _("It is earlier than a row before it; the readings were put in order."),
    "duplicate_time": _("The same time again; readings of one instant were averaged."),
    "jump_of_an_hour": _("The clock jumped an hour here."),
    "gap": _("No reading for {hours:.1f} h before this one."),
    "too_steep": _(
        "It changed by {change_c:+.1f} °C within {minutes:.1f} minutes; was the logger taken out?"
    ),
    "too_few_readings": _("There are {readings} readings; needed: {needed}."),
    # --- against what is on record ---
    "in_the_future": _("It is {value} UTC, which is still to come; the logger's clock or the zone is wrong."),
    "not_of_its_time": _(
        "Fewer than two readings are from the time since the pollen was collected, or its packet filled, and"
        " within the time stated. The file has {first} to {last}."
    ),
}

QUESTIONS: Words = {
    "several_time_columns": _("Several columns hold times. Which one says when a reading was taken?"),
    "no_time_column": _("Which column says when a reading was taken?"),
    "several_temperature_columns": _("Several columns hold temperatures. Which sensor lay with the pollen?"),
    "no_temperature_column": _("Which column holds the temperature?"),
    "both_decimal_marks": _("Both points and commas stand in the numbers. Which is the decimal mark?"),
    "unit_open": _("The file does not say in which unit it is: C, F or K?"),
    "units_differ": _("The file names two units. Which holds?"),
    "fahrenheit_suspected": _("The file says °C, but these numbers are usual in °F. Which is it?"),
    "date_order_open": _("Each date could be read in two ways. Which is first, the day or the month?"),
    "dates_of_two_orders": _(
        "Some dates are no dates day first, others none month first; a spreadsheet may have changed them."
        " Which is meant?"
    ),
    "zone_open": _("The file does not say in which time zone its clock ran."),
    "zone_statements_differ": _("The file names two time zones. In which did its clock run?"),
    "summer_time_changes": _("Summer time began or ended meanwhile. Did the logger's clock follow it?"),
    "jump_of_an_hour": _("The clock jumps by an hour. Did the logger's clock follow summer time?"),
}


def finding_sentence(finding: LoggerFinding) -> str:
    """What is found, without where."""
    return str(FINDINGS[finding.code]).format(value=finding.value, **finding.parameters)


def question_sentence(question: LoggerQuestion) -> str:
    """What is asked."""
    return str(QUESTIONS[question.code]).format(**question.parameters)
