"""The answer of a vibration record: what is loud, against which curve, since which change, what next."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from server.cooldowns.vibration_analysis import Analysis, Walk
from server.physics.vibration import LEVELS_m_s, best_met, judged
from server.units import in_unit

UM = 1e6
GROWN = 1.25
"""A displacement that grew by this much is worth a name (common practice, no source)."""


def answer(found: Analysis, zone: str) -> Sequence[str]:
    """At most three sentences; none where there is no spectrum."""
    if found.heard.spectrum is None:
        return ()
    said = [_loudest(found), _against(found), _since(found, zone)]
    return [sentence for sentence in said if sentence]


def _loudest(found: Analysis) -> str:
    tone = found.tones[0] if found.tones else None
    seen = [band for band in found.bands if band.velocity_m_s]
    loudest = max(seen, key=lambda band: band.velocity_m_s or 0.0, default=None)
    told = ""
    if tone:
        told = f"The loudest tone is at {in_unit(tone.frequency_Hz, 'Hz')}, {tone.rms * UM:.3g} µm/s rms"
    if loudest is None:
        return f"{told}." if told else ""
    size = (loudest.velocity_m_s or 0.0) * UM
    band = f"the loudest one-third octave is {loudest.nominal_Hz:g} Hz, {size:.3g} µm/s rms"
    return f"{told}; {band}." if told else f"No tone stands out; {band}."


def _against(found: Analysis) -> str:
    if not found.bands:
        return ""
    met = best_met(found.bands)
    levels = list(LEVELS_m_s)
    following = levels[levels.index(met) + 1] if met and met != levels[-1] else levels[0]
    if met == levels[-1]:
        return f"It meets every generic curve, down to {met}."
    told = judged(found.bands, following)
    begin = f"It meets {met}" if met else "It meets no generic curve that can be judged whole"
    if told.met is False and told.worst_ratio is not None and told.worst_Hz is not None:
        worst = f"{told.worst_Hz:g} Hz, {told.worst_ratio:.2g} times the curve"
        return f"{begin}; {following} fails most at {worst}."
    return f"{begin}; {following} cannot be judged, because bands are missing."


def _since(found: Analysis, zone: str) -> str:
    """The last step of the chain, up to this record, that made it louder."""
    last, grown = None, ""
    for record, size in found.chain:
        if last and size and size > GROWN * last:
            note = f" (“{record.note}”)" if record.note else ""
            day = record.taken_at.astimezone(ZoneInfo(zone)).date().isoformat()
            grown = f"The displacement grew {size / last:.2g} times with the record of {day}{note}."
        last = size or last
        if record.id == found.heard.record.id:
            break
    return grown


def following(found: Analysis, walk: Walk | None) -> str:
    """The one next thing to do."""
    if found.heard.spectrum is None:
        return "Send a record in m/s², m/s or m, with the sensitivity of the sensor worked in."
    if len(found.chain) < 2:
        return "Keep this as the baseline; after the next change measure again at the same place and axis."
    if walk is None:
        return "Go through the installation walk, then measure again after each single change."
    if walk.standing.failing:
        return f"Mend what the walk found not right, then measure again: {walk.standing.failing[0]}"
    if walk.standing.open_lines:
        return f"Finish the installation walk: {walk.standing.open_lines[0]}"
    return "The walk is answered: alter one thing, say it in the note, and measure again at the same place."
