"""Running hours: seven cases worked by hand.

``running_hours.json``: *hand*, reproduced by a short pandas computation outside this code. The rules in it are *ours*:
a difference larger than the elapsed hours is impossible and is flagged, never used; inside a span hours are spread
evenly. Hours to 1e-6.
"""

# Case M6 with 2 incidents, per 1000 h: over the 11 running hours and, wrongly, over the window of 12 h. *Hand*.
RATE_OVER_COVERED_H = 181.82
RATE_OVER_WINDOW_H = 166.67
