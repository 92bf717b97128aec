"""Ordering of lists."""

from rest_framework.filters import OrderingFilter


class StrictOrderingFilter(OrderingFilter):
    """Orders by named fields only."""
