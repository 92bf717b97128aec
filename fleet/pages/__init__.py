"""Parts of pages that every role reads of a unit: its train as a picture, its readings as a plot, fields for gauges."""
