"""What to mind at a stop: each caution once, and only those of the work and the units there."""

from collections.abc import Iterator, Sequence
from typing import Final

from accounts.language import gettext
from fleet.engineering import cautions
from fleet.engineering.diagnosis import RULES
from fleet.engineering.sizing.words.quantities import in_words
from fleet.engineering.units import TEMPERATURE
from fleet.models import Finding, Stage, Unit
from scheduling.models import Need, VisitTask

Kind = Need.Kind
_OF_RULE: Final = {rule.id: rule.cautions for rule in RULES}
_OF_NEW_PARTS: Final = {
    Stage.CARBON: (cautions.FLUSH_CARBON,),
    Stage.MEMBRANE: (cautions.FLUSH_MEMBRANE,),
    Stage.RESIN: (cautions.FLUSH_RESIN, cautions.MIND_RESIN, cautions.DISPOSAL),
    Stage.POST_CARBON: (cautions.FLUSH_BEFORE_DRINKING,),
    Stage.REMINERALISATION: (cautions.FLUSH_BEFORE_DRINKING,),
    Stage.UV: (cautions.UV_LIGHT, cautions.POWER, cautions.UV_MERCURY, cautions.UV_GAP),
}
"""What to mind where something new is fitted, by stage."""
_BY_TRADES: Final = frozenset({Kind.REPAIR, Kind.FIT_BOOSTER_PUMP, Kind.REPLACE_RESTRICTOR, Kind.COMMISSION})


def cautions_at(tasks: Sequence[VisitTask], units: Sequence[Unit], unit_system: str) -> list[str]:
    """Return what to mind at a stop, in the language spoken now.

    Parameters
    ----------
    tasks
        Of the visit, with their needs and positions at hand.
    units
        Of the site, with it at hand and their live findings as `live`; only those that something is done to count.
    unit_system
        Of the sentences.
    """
    at_work = [unit for unit in units if unit.pk in {task.need.unit_id for task in tasks}]
    limit = in_words(cautions.WARMEST_FEED_DEGC, TEMPERATURE, unit_system)
    texts = [gettext(text).replace("{limit}", limit) for text in _of_work(tasks, at_work)]
    for unit in at_work:
        for finding in unit.live:  # type: ignore[attr-defined]
            texts.extend(_of_finding(finding))
    return list(dict.fromkeys(texts))


def _of_work(tasks: Sequence[VisitTask], at_work: Sequence[Unit]) -> Iterator[str]:
    kinds = {task.need.kind for task in tasks}
    renewed = {
        task.need.position.stage
        for task in tasks
        if task.need.position is not None and task.need.kind in {Kind.REPLACE, Kind.ROTATE}
    }
    yield cautions.ISOLATE
    if any(unit.has_booster_pump for unit in at_work) or Kind.FIT_BOOSTER_PUMP in kinds:
        yield cautions.POWER
    if Kind.COMMISSION in kinds:
        renewed |= {Stage.CARBON, Stage.MEMBRANE}
        renewed |= {Stage.RESIN} if any(unit.kind == Unit.Kind.RO_DI for unit in at_work) else set()
    for stage in Stage:
        if stage in renewed:
            yield from _OF_NEW_PARTS.get(stage, ())
    if any(unit.site.own_well for unit in at_work):
        yield cautions.TEST_WELL
    if Kind.SANITISE in kinds:
        yield cautions.SANITISE
    if kinds & _BY_TRADES:
        yield cautions.CODES
    if Kind.COMMISSION in kinds:
        yield cautions.COLD_WATER
    if any(unit.use in {Unit.Use.DRINKING, Unit.Use.COFFEE} or unit.has_drinking_outlet for unit in at_work):
        yield cautions.NO_CERTIFICATE
        if kinds & {Kind.COMMISSION, Kind.SANITISE}:
            yield cautions.LIGHT_PROOF


def _of_finding(finding: Finding) -> Iterator[str]:
    """Sentence by sentence where they are its rule's, so that none comes twice; else what is stored with it."""
    of_rule = [gettext(text) for text in _OF_RULE.get(finding.rule, ())]
    if " ".join(of_rule) != finding.caution:
        yield from filter(None, [finding.caution])
        return
    # Of the finding alone; at the stop something is done all the same.
    yield from (text for text in of_rule if text != gettext(cautions.NO_PART))
