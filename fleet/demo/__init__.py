"""An invented company for trying the house out: its scenario, the physics of its units, and the logs people would keep.

Nothing here knows the engineering or the forecasts: the simulated units obey equations of their own, so that what the
house finds in the logs is not what it put there.
"""
