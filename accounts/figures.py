"""Numbers as people write them: with the figures that say something, and never in powers of ten."""


def figures(value: float, count: int = 3) -> str:
    """A number with so many figures at least, and without zeros at its end that say nothing.

    A meter that is read wrongly shows thousands, and `5e+03` is no number to a client.

    >>> figures(4999.5), figures(0.5), figures(0.0123456), figures(12.34), figures(0.0)
    ('5000', '0.5', '0.0123', '12.3', '0')
    """
    return f"{value:.0f}" if abs(value) >= 10**count else f"{value:.{count}g}"
