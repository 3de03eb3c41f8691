"""What the person at the machine sees and hears while a traverse is recorded.

`Screen` looks on: it decodes for itself, keeps a few seconds of readings, and can fail
or be slow without costing a reading.  On a terminal it redraws one page; without one it
prints one line per event.

A window (``record --window``) is a process of its own, ``python -P -m analysis.draw.live_window``,
fed on its standard input with one JSON object a line, in the contract's units, null
where a value is not known::

    {"start":   {"survey", "number", "face", "instrument", "quantity", "unit", "base_mm",
                 "direction", "turned", "display", "places_mm"}}                      once, first
    {"live":    {"time_s", "position_mm", "reading", "next_mm", "to_go_mm", "still_s",
                 "needed_s", "is_settled", "stations", "places", "problem"}}  ten a second
    {"station": {"station_mm", "reading", "standard_uncertainty", "repeat", "time_s",
                 "doubt"}}                                          as each one is taken
    {"end":     {"reason"}}                                                  once, last

Live lines are dropped while the window is slow, stations are not.  The end of its input
ends the window's feed, not the window.
"""
