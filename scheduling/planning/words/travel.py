"""What made the driving times, and what past trips taught the road model."""

from accounts.language import gettext, ngettext

# what made a table of trips


def road_model() -> str:
    """The built-in model."""
    return gettext("straight line with detour and speed model")


def fitted_road_model(trips: int) -> str:
    """The built-in model, fitted to past trips."""
    words = ngettext("{model}, fitted to {trips} trip", "{model}, fitted to {trips} trips", trips)
    return words.format(model=road_model(), trips=trips)


def table_service(host: str) -> str:
    """A table service on the network."""
    return gettext("table service {host}").format(host=host)


def table_service_in_part(host: str, stood_in: int, total: int, model: str, why: str) -> str:
    """A table service, and a model that stood in for some trips; `why` is empty where no road is known."""
    words = ngettext(
        "{service}; {stood_in} of {total} trip by {model} ({why})",
        "{service}; {stood_in} of {total} trips by {model} ({why})",
        total,
    )
    return words.format(
        service=table_service(host), stood_in=stood_in, total=total, model=model, why=why or gettext("no road known")
    )


def answered(code: int, own_words: str) -> str:
    """The service refused, with an HTTP status and perhaps a word of its own."""
    text = gettext("it answered {code}").format(code=code)
    return f"{text} ({own_words})" if own_words else text


def timed_out() -> str:
    """The service took too long."""
    return gettext("it timed out")


def out_of_reach(reason: str) -> str:
    """The service was not there."""
    return gettext("it was out of reach: {reason}").format(reason=reason)


def no_table(reason: str) -> str:
    """The service answered something else."""
    return gettext("its answer was no table: {reason}").format(reason=reason)


# what past trips taught


def fitted(trips: int, before: float, after: float) -> str:
    """The model was fitted; errors as shares of a trip's time."""
    words = ngettext(
        "Fitted to {trips} trip: the median error of a trip's time fell from {before:.0f} % to {after:.0f} %.",
        "Fitted to {trips} trips: the median error of a trip's time fell from {before:.0f} % to {after:.0f} %.",
        trips,
    )
    return words.format(trips=trips, before=100 * before, after=100 * after)


def too_few_trips(usable: int, needed: int) -> str:
    """The model was kept for want of trips."""
    words = ngettext(
        "The model was kept as it is: {usable} usable trip is too few; {needed} are needed.",
        "The model was kept as it is: {usable} usable trips are too few; {needed} are needed.",
        usable,
    )
    return words.format(usable=usable, needed=needed)


def no_better(trips: int) -> str:
    """The model was kept because another was no better."""
    words = ngettext(
        "The model was kept as it is: a new fit predicted {trips} trip no better.",
        "The model was kept as it is: a new fit predicted {trips} trips no better.",
        trips,
    )
    return words.format(trips=trips)


def not_calibrated() -> str:
    """No night has looked at the trips yet."""
    return gettext("Past trips have not been looked at yet; every night they are.")
