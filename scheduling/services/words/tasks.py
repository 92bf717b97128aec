"""What is to be done, as installers and the office call it."""

from accounts.language import gettext
from fleet.engineering.positions import position_name
from scheduling.models import Need


def task_text(need: Need) -> str:
    """What is to be done: 'replace cartridge: lead resin'."""
    position = need.position
    where = need.about or (position_name(position.stage, position.role) if position is not None else "")
    kind = gettext(str(need.get_kind_display()))
    return gettext("{task}: {where}").format(task=kind, where=gettext(where)) if where else kind


def task_named(need: Need) -> str:
    """What is to be done, as a sentence begins with it: 'sanitise (tank and housings)'."""
    kind = gettext(str(need.get_kind_display()))
    return gettext("{task} ({about})").format(task=kind, about=gettext(need.about)) if need.about else kind


def task_at_unit(need: Need) -> str:
    """A task among those of several units: 'S1-1: replace cartridge (lead resin), with RES-10'."""
    words = gettext("{unit}: {task} ({about})") if need.about else gettext("{unit}: {task}")
    text = words.format(unit=need.unit.code, task=gettext(str(need.get_kind_display())), about=gettext(need.about))
    # two housings of a train may take cartridges of one kind
    return gettext("{task}, with {item}").format(task=text, item=need.item.code) if need.item is not None else text
