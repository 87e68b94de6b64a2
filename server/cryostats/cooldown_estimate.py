"""How long this cryostat takes to get cold, and what an added mass costs it in minutes.

The plain face for the pages here and for whoever keeps the cooldowns: `estimate`, `delays`, `store`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from server.cryostats import budget, contents, cooldown_rules
from server.cryostats.cooldown_basis_models import CooldownBasis
from server.cryostats.cooldown_rules import Basis, Delay, Extra, Known
from server.cryostats.models import Cryostat
from server.cryostats.rules import Put
from server.errors import Refused
from server.history import service as history
from server.materials import service as materials
from server.physics import thermal
from server.physics.errors import PhysicsError

ON_THE_PLATFORM = ("platform", "mount", "sample")
WORDS = {
    cooldown_rules.LEARNT: "learnt from a reference cooldown",
    cooldown_rules.POINTS: "from points of net power",
    cooldown_rules.DEFAULT: (
        "of an ordinary small cryostat, since nothing is entered of this one: good to a factor of several"
    ),
}


@dataclass(frozen=True)
class CooldownEstimate:
    """When the platform reaches 100, 50, 10 K and its base, from the start.

    `kind` is `learnt`, `points` or `default`, `words` says so in a sentence, `version` is 0 for the default.
    `masses` are those put in or taken out since the basis; what could not be counted is in `gaps`.
    """

    kind: str
    words: str
    version: int
    stage: str
    hot_K: float
    times: tuple[thermal.CooldownTime, ...]
    masses: tuple[Delay, ...]
    gaps: tuple[str, ...]


def estimate(session: Session, cryostat: Cryostat, puts: Mapping[str, Put] | None = None) -> CooldownEstimate:
    """For what is inside now, or for these elements."""
    row = newest(session, cryostat)
    known, gaps = _known(row, cryostat)
    inside = contents.elements(session, cryostat, cryostat.revision) if puts is None else puts
    before = contents.elements(session, cryostat, row.revision) if row else {}
    extra, uncounted = _extra(session, known, before, inside)
    kind = cooldown_rules.DEFAULT if row is None or gaps else str(row.data["kind"])
    return CooldownEstimate(
        kind=kind,
        words=WORDS[kind],
        version=row.number if row else 0,
        stage="platform" if "platform" in cryostat.stages else cryostat.stages[-1],
        hot_K=known.hot_K,
        times=cooldown_rules.times(known, extra),
        masses=_delays(known, extra),
        gaps=(*gaps, *uncounted),
    )


def delays(
    session: Session, cryostat: Cryostat, before: Mapping[str, Put], after: Mapping[str, Put]
) -> tuple[tuple[Delay, ...], tuple[str, ...]]:
    """What the masses that differ between two configurations change, and what cannot be told of them."""
    known, _ = _known(newest(session, cryostat), cryostat)
    extra, gaps = _extra(session, known, before, after)
    return _delays(known, extra), gaps


def newest(session: Session, cryostat: Cryostat) -> CooldownBasis | None:
    """The basis in force; None before the first."""
    query = select(CooldownBasis).where(CooldownBasis.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(CooldownBasis.number).desc()).limit(1)).first()


def versions(session: Session, cryostat: Cryostat) -> Sequence[CooldownBasis]:
    """Every basis, newest first."""
    query = select(CooldownBasis).where(CooldownBasis.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(CooldownBasis.number).desc())).all()


def store(
    session: Session,
    author: history.Author,
    cryostat: Cryostat,
    basis: Basis,
    revision: int,
    note: str,
    at: datetime,
) -> CooldownBasis:
    """Enter what is known of a cooldown; `revision` stood in the cryostat then. Refused by field."""
    if not 0 <= revision <= cryostat.revision:
        found = {"revision": f"Enter a revision from 0 to {cryostat.revision}"}
        raise Refused("What is known of a cooldown was not stored.", found)
    last = session.exec(
        select(func.max(CooldownBasis.number)).where(CooldownBasis.cryostat_id == cryostat.id)
    ).one()
    assert cryostat.id is not None
    row = CooldownBasis(
        cryostat_id=cryostat.id,
        number=(last or 0) + 1,
        data=basis.written(),
        revision=revision,
        note=note.strip(),
        at=at,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    session.flush()
    line = f"Cooldown entered to learn from, version {row.number}, {WORDS[basis.kind]}"
    history.note(session, author, f"cryostat/{cryostat.slug}", line, at)
    return row


def _known(row: CooldownBasis | None, cryostat: Cryostat) -> tuple[Known, tuple[str, ...]]:
    """What is known; where a stored basis no longer makes sense, that of an ordinary cryostat, said so."""
    if row is None:
        return cooldown_rules.known(None, cryostat.vessel_K), ()
    try:
        return cooldown_rules.known(cooldown_rules.basis_of(row.data), cryostat.vessel_K), ()
    except PhysicsError as problem:
        words = f"Version {row.number} can no longer be used: {problem}"
        return cooldown_rules.known(None, cryostat.vessel_K), (words,)


def _extra(
    session: Session, known: Known, before: Mapping[str, Put], after: Mapping[str, Put]
) -> tuple[tuple[Extra, ...], tuple[str, ...]]:
    """Masses that are in one and not alike in the other; and what is not known of them."""
    moved = [
        (put, taken_out)
        for there, other, taken_out in ((after, before, False), (before, after, True))
        for put in there.values()
        if put.kind == thermal.Mass.kind and (put.key not in other or other[put.key].data != put.data)
    ]
    if not moved:
        return (), ()
    own = materials.in_force(session)
    found, gaps = [], []
    for put, taken_out in moved:
        element = budget.read_each([put], own).get(put.key)
        if not isinstance(element, thermal.Mass) or element.stage not in ON_THE_PLATFORM:
            continue
        mass = _cold(element)
        if mass is None:
            gaps.append(f"{put.title}: of what it is made, or how much it is, is not known.")
        else:
            found.append(Extra(put.key, put.title, mass, taken_out))
    counted, uncounted = cooldown_rules.sorted_out(known, found)
    return counted, (*gaps, *uncounted)


def _cold(element: thermal.Mass) -> thermal.ColdMass | None:
    if element.material is None or element.mass_kg is None:
        return None
    return thermal.ColdMass(element.material, element.mass_kg)


def _delays(known: Known, extra: Sequence[Extra]) -> tuple[Delay, ...]:
    return tuple(Delay(one.key, one.title, cooldown_rules.delay_s(known, one)) for one in extra)
