"""The one error of the engineering room: it names the field and says in a sentence what would be right."""


class EngineeringError(ValueError):
    """A value that cannot be used, with the field it stood in and a sentence a person can act on.

    Parameters
    ----------
    field : str
        Name of the argument, column or payload field at fault, for example ``"temperature_degc"``.
    sentence : str
        What was wrong and what would be right, as a full sentence.

    Examples
    --------
    >>> error = EngineeringError("feed_ph", "A pH lies between 4 and 11 in tap water, 17 does not.")
    >>> error.field
    'feed_ph'
    >>> str(error)
    'feed_ph: A pH lies between 4 and 11 in tap water, 17 does not.'
    """

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(f"{field}: {sentence}")
        self.field = field
        self.sentence = sentence

    def __reduce__(self) -> tuple[type["EngineeringError"], tuple[str, str]]:
        """Pickle by both arguments; the default would pass only the joined message and fail to load."""
        return (type(self), (self.field, self.sentence))
