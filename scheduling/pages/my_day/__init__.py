"""An installer's day on a phone, with a signal and without."""
