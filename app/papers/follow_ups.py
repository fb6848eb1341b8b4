"""Follow-ups as a calendar file (iCalendar, RFC 5545) for any phone or desk calendar."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from app.records.days import later
from app.records.entries import FollowUp, Site

MAKER = "-//swardkey//follow-ups//EN"
REMIND_HOURS = 8  # after midnight of the day


def calendar_file(follow_ups: Iterable[FollowUp], sites: Mapping[int, Site], made: datetime) -> bytes:
    """The open follow-ups as all-day events with a reminder in the morning.

    ``made`` is the time of making, with its zone. An event keeps its ``uid``, so that taking the
    file in again changes it and doubles nothing.
    """
    calendar = Calendar()
    calendar.add("prodid", MAKER)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Weed follow-ups")
    for follow_up in follow_ups:
        if follow_up.done is None:
            calendar.add_component(_event(follow_up, sites.get(follow_up.site), made))
    written: bytes = calendar.to_ical()
    return written


def _event(follow_up: FollowUp, site: Site | None, made: datetime) -> Event:
    event = Event()
    event.add("uid", follow_up.uid or f"follow-up-{follow_up.id}@swardkey")
    event.add("dtstamp", made.astimezone(UTC))
    event.add("dtstart", follow_up.due)
    event.add("dtend", later(follow_up.due, 1))
    event.add("summary", follow_up.what)
    event.add("transp", "TRANSPARENT")
    if site is not None:
        event.add("location", site.address)
    reminder = Alarm()
    reminder.add("action", "DISPLAY")
    reminder.add("description", follow_up.what)
    reminder.add("trigger", timedelta(hours=REMIND_HOURS))
    event.add_component(reminder)
    return event
