"""The one danger engine: a strip of water, the keel and the mast in; what is charted there against them out.

`ChartDangers` is laid out once for a piece of chart; `StripDangers` holds what lies along one strip of it and answers
for any tide and speed.  The live keep-off, the trial manoeuvre, the route check, the plan and the search of a way all
ask here, and nowhere else.
"""
