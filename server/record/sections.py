"""The tables of a record in words, from what was found."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from server.cooldowns import rules as cooldowns
from server.cooldowns.entry_kinds import label
from server.cooldowns.views import values
from server.faults.causes import CAUSES
from server.faults.rules import STATES
from server.openings import entry_words as openings
from server.openings import kinds as opening_kinds
from server.record.finding import Found
from server.record.rules import Estimate, Section, estimate
from server.units import in_unit, show_band, unit_for
from server.web.moments import when

LATER = "written down later: "


def of(found: Found, zone: str) -> tuple[Section, ...]:
    """Every table, in the order of the page."""
    return (
        _people(found, zone),
        _elements(found),
        _samples(found, zone),
        _thermometers(found),
        _temperatures(found),
        _estimate(found),
        _entries(found, zone),
        _slips(found, zone),
        _faults(found, zone),
        _bookings(found, zone),
        _revisions(found, zone),
        _pictures(found, zone),
    )


def _people(found: Found, zone: str) -> Section:
    rows = [(row.by_name, "logged the configuration", when(row.done_at, zone)) for row in found.steps[-1:]]
    if found.sheet:
        cooldown = found.sheet.cooldown
        rows.append((cooldown.by_name, f"began cooldown {cooldown.number}", when(cooldown.begun_at, zone)))
        for entry in found.sheet.entries:
            row = (entry.by_name, "wrote in the cooldown", "")
            if row not in rows:
                rows.append(row)
    for booking, _ in found.bookings:
        rows.append((booking.owner_name, f"had it booked{_group(booking.group_name)}", ""))
    rows += [(row.owner_name, f"owns the sample {row.what}", "") for row in found.samples]
    return Section("Who", ("Person", "As", "When"), tuple(dict.fromkeys(rows)))


def _group(name: str) -> str:
    return f" for {name}" if name else ""


def _elements(found: Found) -> Section:
    rows = tuple(
        (put.title, put.kind.replace("-", " "), _data(put.data), put.part, put.note)
        for put in found.puts.values()
    )
    head = ("Element", "Kind", "As written, SI", "Part", "Note")
    return Section("Configuration", head, rows, "Nothing was inside.")


def _data(data: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{name} {_value(value)}" for name, value in data.items() if value not in (None, "", [], {})
    )


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "(" + _data(value) + ")"
    if isinstance(value, list):
        return "[" + "; ".join("not known" if one is None else _value(one) for one in value) + "]"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _samples(found: Found, zone: str) -> Section:
    rows = tuple(
        (row.what, row.owner_name, row.carrier, row.attach, row.mount, row.note, when(row.at, zone))
        for row in found.samples
    )
    head = ("Sample", "Whose", "Carrier", "Fixed with", "On", "Note", "Written down")
    return Section("Samples", head, rows, "No sample is written down.")


def _thermometers(found: Found) -> Section:
    """Thermometers by their channels and by the parts of the configuration."""
    rows = [
        (row.name, row.stage, *_part(found, row.part))
        for row in found.channels
        if row.quantity == "temperature"
    ]
    named = {row[2] for row in rows}
    for put in found.puts.values():
        part = found.parts.get(put.part)
        if part is not None and part.kind == "thermometer" and put.part not in named:
            rows.append((put.title, "", *_part(found, put.part)))
    head = ("Thermometer", "Stage", "Part", "Serial", "Curve and calibration")
    return Section("Thermometers", head, tuple(rows), "No thermometer is written down.")


def _part(found: Found, tag: str) -> tuple[str, str, str]:
    part = found.parts.get(tag)
    if part is None:
        return (tag, "", "")
    about = ", ".join(f"{name.replace('_', ' ')}: {text}" for name, text in part.about.items() if text)
    return (tag, part.serial, about)


def _temperatures(found: Found) -> Section:
    rows = tuple(
        (
            row.stage,
            in_unit(row.measured_K, "K", 4) if row.measured_K is not None else "",
            show_band(row.predicted_K, "K") if row.predicted_K else "",
            show_band(row.difference_K, unit_for([row.difference_K], "K"), True) if row.difference_K else "",
            row.verdict + (f": {row.reason}" if row.reason else ""),
        )
        for row in found.residuals
    )
    head = ("Stage", "Measured at base", "Predicted before", "Difference", "Verdict")
    return Section("Predicted and measured", head, rows, "No cooldown was going on.")


def estimated(found: Found) -> Estimate | None:
    """How far the sample was from the platform."""
    read_K = {row.stage: row.measured_K for row in found.residuals if row.measured_K is not None}
    return estimate(read_K, found.sheet.expected_K if found.sheet else {})


def _estimate(found: Found) -> Section:
    told = estimated(found)
    rows = ((told.size, told.how),) if told else ()
    empty = "It cannot be said: neither read nor predicted."
    return Section("Sample above platform", ("Sample minus platform", "How it is known"), rows, empty)


def _entries(found: Found, zone: str) -> Section:
    if found.sheet is None:
        return Section("The cooldown's book", ("When", "What"), (), "No cooldown was going on.")
    counting = cooldowns.counting(found.sheet.entries)
    rows = []
    for entry in found.sheet.entries:
        told = "; ".join(f"{name}: {value}" for name, value in values(entry))
        note = "" if entry in counting or entry.takes_back else "taken back"
        words = "afterwards" if entry.at > found.at else _later(entry.recorded_at, found, zone)
        rows.append((when(entry.at, zone), label(entry.kind), told, entry.note, entry.by_name, note, words))
    head = ("When", "What", "Numbers", "Words", "By", "Counts", "Edits")
    return Section(f"The book of cooldown {found.sheet.cooldown.number}", head, tuple(rows))


def _later(recorded_at: datetime, found: Found, zone: str) -> str:
    return f"{LATER}{when(recorded_at, zone)}" if recorded_at > found.at else ""


def _slips(found: Found, zone: str) -> Section:
    """Every entry of the openings since the cooldown before; one taken back stays, and says so."""
    rows = []
    for slip in found.slips:
        name = f"Opening {slip.opening.number}"
        rows.append(
            (name, "Begun", slip.opening.why, slip.opening.by_name, when(slip.opening.begun_at, zone), "")
        )
        for entry in slip.entries:
            told = ". ".join(words for words in (openings.of(entry), entry.note) if words)
            kept = entry in slip.counting or entry.kind == opening_kinds.TAKEN_BACK
            edits = [] if kept else ["taken back"]
            edits += ["afterwards" if entry.at > found.at else _later(entry.recorded_at, found, zone)]
            kind = (
                opening_kinds.KINDS[entry.kind].label if entry.kind in opening_kinds.KINDS else "Taken back"
            )
            edited = "; ".join(words for words in edits if words)
            rows.append((name, kind, told, entry.by_name, when(entry.at, zone), edited))
    head = ("Opening", "What", "Words", "By", "When", "Edits")
    return Section("Openings since the cooldown before", head, tuple(rows), "None.")


def _faults(found: Found, zone: str) -> Section:
    rows = tuple(
        (
            f"Fault {fault.id}",
            fault.what_seen,
            STATES[entry.state],
            CAUSES.get(entry.cause, ""),
            f"since then: {STATES[fault.state]}" if fault.state != entry.state else "",
            when(fault.seen_at, zone),
        )
        for fault, entry in found.faults
    )
    head = ("Fault", "What was seen", "Stood then at", "Cause", "Later", "Seen")
    return Section("Faults open then", head, rows, "No fault was open.")


def _bookings(found: Found, zone: str) -> Section:
    rows = tuple(
        (
            booking.purpose,
            booking.owner_name,
            booking.group_name,
            booking.state,
            when(place.starts, zone),
            when(place.ends, zone),
        )
        for booking, place in found.bookings
    )
    head = ("Booking", "Whose", "Group", "State", "From", "To")
    return Section("Bookings that day", head, rows, "Nobody had it booked.")


def _revisions(found: Found, zone: str) -> Section:
    rows = tuple(
        (
            f"Revision {row.number}",
            row.reason,
            row.by_name,
            when(row.done_at, zone),
            _later(row.recorded_at, found, zone),
        )
        for row in found.steps
    )
    return Section("Steps that led there, the last twenty", ("Revision", "Why", "By", "Done", "Edits"), rows)


def _pictures(found: Found, zone: str) -> Section:
    rows = [
        (
            row.photograph.caption or row.photograph.kind,
            row.photograph.by_name,
            when(row.photograph.at, zone),
            f"withdrawn: {row.withdrawal.reason}" if row.withdrawal else "",
            row.file.digest,
        )
        for row in found.photographs
    ]
    rows += [
        (row.picture.caption, row.picture.by_name, when(row.picture.at, zone), "", row.file.digest)
        for row in found.cold_pictures
    ]
    head = ("Picture", "By", "Taken in", "Edits", "SHA-256")
    return Section("Photographs", head, tuple(rows), "No photograph of that revision.")
